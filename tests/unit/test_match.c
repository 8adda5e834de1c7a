/* Characters and their shapes: the table, and which is taken for a patch of light. */
#include <check.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "raster/glyphs.h"
#include "raster/match.h"

/* --- the table of shapes ----------------------------------------------------------------- */

static int ink_of(int code)
{
    int bits = 0;
    for (int y = 0; y < GLYPH_HEIGHT; y++)
        bits += __builtin_popcount(glyph_bits[code - GLYPH_FIRST][y]);
    return bits;
}

/* All but the blank have ink, within the cell, and the coverage adds up to it. */
START_TEST(table_is_whole)
{
    for (int code = ' '; code <= '~'; code++) {
        double cover = 0;
        for (int i = 0; i < PATCH; i++)
            cover += glyph_cover[code - GLYPH_FIRST][i] / 255.0;
        cover *= (double)GLYPH_WIDTH * GLYPH_HEIGHT / PATCH;
        ck_assert_int_eq(ink_of(code) > 0, code != ' ');
        ck_assert_double_eq_tol(cover, ink_of(code), 0.5);
        for (int y = 0; y < GLYPH_HEIGHT; y++)
            ck_assert_uint_lt(glyph_bits[code - GLYPH_FIRST][y], 1 << GLYPH_WIDTH);
        for (int other = ' '; other < code; other++)
            ck_assert(memcmp(glyph_bits[code - GLYPH_FIRST], glyph_bits[other - GLYPH_FIRST],
                             sizeof glyph_bits[0]) != 0);
    }
    ck_assert_int_lt(ink_of('.'), ink_of('+'));
    ck_assert_int_lt(ink_of('+'), ink_of('@'));
}
END_TEST

static void mirror(const uint8_t from[PATCH], uint8_t to[PATCH])
{
    for (int i = 0; i < PATCH; i++)
        to[i] = from[i / 4 * 4 + 3 - i % 4];
}

static const char pairs[][2] = {{'/', '\\'}, {'(', ')'}, {'<', '>'}, {'[', ']'}, {'{', '}'}};

/* A character's mirror image is matched by its counterpart, and the character by itself. */
START_TEST(mirrored_pairs)
{
    struct alphabet alphabet;
    uint8_t mirrored[PATCH];
    alphabet_ascii(&alphabet);
    const uint8_t *own = glyph_cover[pairs[_i][0] - GLYPH_FIRST];
    mirror(own, mirrored);
    ck_assert_int_eq(alphabet_match(&alphabet, own) + ' ', pairs[_i][0]);
    ck_assert_int_eq(alphabet_match(&alphabet, mirrored) + ' ', pairs[_i][1]);
    mirror(glyph_cover[pairs[_i][1] - GLYPH_FIRST], mirrored);
    ck_assert_int_eq(alphabet_match(&alphabet, mirrored) + ' ', pairs[_i][0]);
}
END_TEST

/* --- matching ---------------------------------------------------------------------------- */

/* Thin lines drawn with ink 0 to 255 by their distance from the samples' middles. */
static int match_line(double x0, double y0, double x1, double y1)
{
    struct alphabet alphabet;
    uint8_t patch[PATCH];
    double length = hypot(x1 - x0, y1 - y0);
    for (int i = 0; i < PATCH; i++) {
        double x = i % 4 + 0.5 - x0, y = i / 4 + 0.5 - y0;
        double far = fabs(x * (y1 - y0) - y * (x1 - x0)) / length;
        double along = (x * (x1 - x0) + y * (y1 - y0)) / length;
        double ink = along < 0 || along > length ? 0 : fmax(1 - far, 0);
        patch[i] = (uint8_t)(130 * ink);
    }
    alphabet_ascii(&alphabet);
    return alphabet_match(&alphabet, patch) + ' ';
}

START_TEST(lines_give_their_shape)
{
    ck_assert_int_eq(match_line(0, 8, 4, 0), '/');
    ck_assert_int_eq(match_line(0, 0, 4, 8), '\\');
    ck_assert_int_eq(match_line(2, 0, 2, 8), '|');
    ck_assert_int_eq(match_line(0, 3.5, 4, 3.5), '-');
    ck_assert_int_eq(match_line(0, 6.5, 4, 6.5), '_');
}
END_TEST

/* An edge of ink: dark above, light below, and so on; as at silhouettes. */
static int match_half(double nx, double ny, double offset, int ink)
{
    struct alphabet alphabet;
    uint8_t patch[PATCH];
    for (int i = 0; i < PATCH; i++)
        patch[i] = (uint8_t)(nx * (i % 4 + 0.5) + ny * (i / 4 + 0.5) > offset ? ink : 0);
    alphabet_ascii(&alphabet);
    return alphabet_match(&alphabet, patch) + ' ';
}

START_TEST(edges_give_their_shape)
{
    ck_assert_ptr_nonnull(strchr("_.,", match_half(0, 1, 6, 97)));        /* the lowest quarter */
    ck_assert_ptr_nonnull(strchr("\"'^`~*", match_half(0, -1, -3, 97)));  /* the top */
    ck_assert_ptr_nonnull(strchr("[{Ell|C(", match_half(-1, 0, -2, 60))); /* the left half */
    ck_assert_ptr_nonnull(strchr("])}|1l", match_half(1, 0, 2, 60)));     /* the right half */
    ck_assert_int_eq(match_half(0, 0, 1, 97), ' ');
}
END_TEST

/* More light, more ink: an even patch's character never gets thinner by much, and the whole range
 * of ink is used. */
START_TEST(even_patches_make_a_ramp)
{
    struct alphabet alphabet;
    alphabet_ascii(&alphabet);
    int before = 0;
    for (int ink = 0; ink <= 97; ink++) {
        uint8_t patch[PATCH];
        memset(patch, ink, sizeof patch);
        int mean = alphabet.mean[alphabet_match(&alphabet, patch)];
        ck_assert_int_le(abs(mean - ink), 4 + ink / 3);
        ck_assert_int_ge(mean, before - 4);
        before = mean;
    }
    ck_assert_int_ge(before, 70);
}
END_TEST

Suite *suite_match(void);
Suite *suite_match(void)
{
    Suite *suite = suite_create("match");
    TCase *tests = tcase_create("match");
    tcase_add_test(tests, table_is_whole);
    tcase_add_loop_test(tests, mirrored_pairs, 0, (int)(sizeof pairs / sizeof *pairs));
    tcase_add_test(tests, lines_give_their_shape);
    tcase_add_test(tests, edges_give_their_shape);
    tcase_add_test(tests, even_patches_make_a_ramp);
    suite_add_tcase(suite, tests);
    return suite;
}
