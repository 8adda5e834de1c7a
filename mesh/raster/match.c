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
 * cycles in a cell's width at which a weight has fallen to exp(-1/2). */
static const double blur = 0.65;
/* In a patch that is nearly even the mean counts more than the shape, and the empty margins that
 * all characters have are overlooked by a quarter: else it would be matched by how small a
 * character's margins are more than by its ink. A patch with a shape (its squares without the mean
 * being a share of the mean's) is taken as it is. */
static const double even_mean = 3, even_overlooked = 0.25, shaped = 0.5;

enum { WAVE_BITS = 12, FEATURE_BITS = 9 }; /* waves times 2^12, features times 2^3 */

void alphabet_init(struct alphabet *alphabet)
{
    static const double pi = 3.14159265358979323846;
    memset(alphabet, 0, sizeof *alphabet);
    for (int f = 0; f < FEATURES; f++) {
        double fx = wave[f].across / 2.0, fy = wave[f].down / 4.0; /* cycles in a cell's width */
        double norm = sqrt((wave[f].across ? 2 : 1) * (wave[f].down ? 2 : 1) / (double)PATCH);
        double size = (1 << WAVE_BITS) * norm * exp(-(fx * fx + fy * fy) / (2 * blur * blur));
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

/* Without the mean. */
static int32_t dot(const int16_t a[FEATURES], const int16_t b[FEATURES])
{
    int32_t sum = 0;
#pragma omp simd reduction(+ : sum)
    for (int f = 0; f < FEATURES; f++)
        sum += a[f] * b[f];
    return sum - a[0] * b[0];
}

void alphabet_add(struct alphabet *alphabet, const uint8_t cover[PATCH])
{
    int i = alphabet->count++, sum = 0;
    features_of(alphabet, cover, alphabet->feature[i]);
    alphabet->square[i] = dot(alphabet->feature[i], alphabet->feature[i]);
    for (int k = 0; k < PATCH; k++)
        sum += cover[k];
    alphabet->mean[i] = sum / PATCH;
}

/* What all characters have in common: the margins they leave empty, in proportion to their ink. */
static void find_margins(struct alphabet *alphabet)
{
    int64_t sum[FEATURES] = {0};
    for (int i = 0; i < alphabet->count; i++)
        for (int f = 0; f < FEATURES; f++)
            sum[f] += alphabet->feature[i][f];
    for (int f = 1; f < FEATURES; f++) {
        alphabet->margin[f] = (double)sum[f] / (double)sum[0];
        alphabet->margins += alphabet->margin[f] * alphabet->margin[f];
    }
    for (int i = 0; i < alphabet->count; i++)
        for (int f = 1; f < FEATURES; f++)
            alphabet->cross[i] +=
                alphabet->feature[i][f] * alphabet->margin[f] * alphabet->feature[i][0];
}

void alphabet_ascii(struct alphabet *alphabet)
{
    alphabet_init(alphabet);
    for (int i = 0; i < GLYPH_COUNT; i++)
        alphabet_add(alphabet, glyph_cover[i]);
    find_margins(alphabet);
}

/* Least squares between the patch and each character less its share of the margins, written out so
 * that per character one product of vectors is left. */
int alphabet_match(const struct alphabet *alphabet, const uint8_t wanted[PATCH])
{
    int16_t feature[FEATURES];
    features_of(alphabet, wanted, feature);
    double square = dot(feature, feature), mean = feature[0], along = 0;
    double even = 1 - square / (shaped * mean * mean + 1);
    even = even > 0 ? even : 0;
    const double heavy = 1 + even * (even_mean - 1), less = even * even_overlooked;
    for (int f = 1; f < FEATURES; f++)
        along += feature[f] * alphabet->margin[f];
    int best = 0;
    double least = INFINITY;
    for (int i = 0; i < alphabet->count; i++) {
        double its = alphabet->feature[i][0], off = mean - its;
        double own = alphabet->square[i] - 2 * less * alphabet->cross[i] +
                     less * less * its * its * alphabet->margins;
        double both = dot(feature, alphabet->feature[i]) - less * its * along;
        double apart = own - 2 * both + heavy * off * off;
        if (apart < least) {
            least = apart;
            best = i;
        }
    }
    return best;
}
