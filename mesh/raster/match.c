/* The eye sees a screen of text at reading distance through a low-pass filter: strokes within a
 * character blur, and what stays is how its ink is spread. So patch and characters are compared in
 * the cosine transform of the 4 x 8 cell (Ahmed, Natarajan & Rao 1974), its low frequencies only,
 * each weighted by a Gaussian of its spatial frequency: least squares between blurred pictures. */
#include "raster/match.h"

#include <math.h>
#include <string.h>

#include "raster/glyphs.h"

/* Half periods across and down the cell. */
static const struct {
    int across, down;
} wave[FEATURES] = {{0, 0}, {0, 1}, {0, 2}, {0, 3}, {0, 4}, {0, 5}, {1, 0}, {1, 1},
                    {1, 2}, {1, 3}, {1, 4}, {2, 0}, {2, 1}, {2, 2}, {2, 3}, {3, 0}};

/* Chosen by looking, and by the structural similarity of blurred text to the shaded picture:
 * cycles in a cell's width at which a weight has fallen to exp(-1/2); how much more than shape
 * the mean counts; and how much of the empty margins that all characters have is overlooked. */
static const double blur = 0.65, mean_weight = 2, overlooked = 0.5;

enum { WAVE_BITS = 12, FEATURE_BITS = 9 }; /* waves times 2^12, features times 2^3 */

void alphabet_init(struct alphabet *alphabet)
{
    static const double pi = 3.14159265358979323846;
    memset(alphabet, 0, sizeof *alphabet);
    for (int f = 0; f < FEATURES; f++) {
        double fx = wave[f].across / 2.0, fy = wave[f].down / 4.0; /* cycles in a cell's width */
        double norm = sqrt((wave[f].across ? 2 : 1) * (wave[f].down ? 2 : 1) / (double)PATCH);
        double size = (1 << WAVE_BITS) * norm * exp(-(fx * fx + fy * fy) / (2 * blur * blur));
        if (f == 0)
            size *= mean_weight;
        for (int i = 0; i < PATCH; i++)
            alphabet->wave[f][i] =
                (int16_t)lrint(size * cos(pi * (i % 4 + 0.5) * wave[f].across / 4) *
                               cos(pi * (i / 4 + 0.5) * wave[f].down / 8));
    }
}

static void features_of(const struct alphabet *alphabet, const uint8_t cover[PATCH],
                        int16_t feature[FEATURES])
{
    int16_t wide[PATCH];
    for (int i = 0; i < PATCH; i++)
        wide[i] = cover[i];
    for (int f = 0; f < FEATURES; f++) {
        const int16_t *w = alphabet->wave[f];
        int32_t sum = 0;
#pragma omp simd reduction(+ : sum)
        for (int i = 0; i < PATCH; i++)
            sum += wide[i] * w[i];
        feature[f] = (int16_t)(sum >> FEATURE_BITS);
    }
}

static int32_t dot(const int16_t a[FEATURES], const int16_t b[FEATURES])
{
    int32_t sum = 0;
#pragma omp simd reduction(+ : sum)
    for (int f = 0; f < FEATURES; f++)
        sum += a[f] * b[f];
    return sum;
}

void alphabet_add(struct alphabet *alphabet, const uint8_t cover[PATCH])
{
    int i = alphabet->count++, sum = 0;
    features_of(alphabet, cover, alphabet->feature[i]);
    alphabet->half[i] = dot(alphabet->feature[i], alphabet->feature[i]) / 2;
    for (int k = 0; k < PATCH; k++)
        sum += cover[k];
    alphabet->mean[i] = sum / PATCH;
}

/* All characters leave the same margins empty, in proportion to their ink; without this, an even
 * patch would be matched by how small a character's margins are more than by its ink. */
static void overlook_margins(struct alphabet *alphabet)
{
    int64_t sum[FEATURES] = {0};
    for (int i = 0; i < alphabet->count; i++)
        for (int f = 0; f < FEATURES; f++)
            sum[f] += alphabet->feature[i][f];
    for (int i = 0; i < alphabet->count; i++) {
        int16_t *feature = alphabet->feature[i];
        for (int f = 1; f < FEATURES; f++)
            feature[f] = (int16_t)lrint(feature[f] -
                                        overlooked * (double)sum[f] / (double)sum[0] * feature[0]);
        alphabet->half[i] = dot(feature, feature) / 2;
    }
}

void alphabet_ascii(struct alphabet *alphabet)
{
    alphabet_init(alphabet);
    for (int i = 0; i < GLYPH_COUNT; i++)
        alphabet_add(alphabet, glyph_cover[i]);
    overlook_margins(alphabet);
}

int alphabet_match(const struct alphabet *alphabet, const uint8_t wanted[PATCH])
{
    int16_t feature[FEATURES];
    features_of(alphabet, wanted, feature);
    int best = 0;
    int32_t most = INT32_MIN;
    for (int i = 0; i < alphabet->count; i++) {
        int32_t like = dot(feature, alphabet->feature[i]) - alphabet->half[i];
        if (like > most) {
            most = like;
            best = i;
        }
    }
    return best;
}
