#include "raster/blocks.h"

#include <string.h>

/* Bit i of a mask is sample i of the cell: column i % 4, row i / 4 from the top. */
#define ROWS_FROM(row) (0xffffffffu << 4 * (row))    /* the lower ones */
#define COLUMNS(n) (0x11111111u * ((1u << (n)) - 1)) /* the left ones */
#define UPPER_LEFT 0x00003333u
#define UPPER_RIGHT 0x0000ccccu
#define LOWER_LEFT 0x33330000u
#define LOWER_RIGHT 0xcccc0000u

static const struct block {
    uint32_t glyph, mask;
} block[] = {
    {' ', 0},
    {0x2588, 0xffffffffu},
    {0x2581, ROWS_FROM(7)},
    {0x2582, ROWS_FROM(6)},
    {0x2583, ROWS_FROM(5)},
    {0x2584, ROWS_FROM(4)},
    {0x2585, ROWS_FROM(3)},
    {0x2586, ROWS_FROM(2)},
    {0x2587, ROWS_FROM(1)},
    {0x2580, ~ROWS_FROM(4)},
    {0x2594, ~ROWS_FROM(1)},
    {0x258a, COLUMNS(3)},
    {0x258c, COLUMNS(2)},
    {0x258e, COLUMNS(1)},
    {0x2590, ~COLUMNS(2)},
    {0x2596, LOWER_LEFT},
    {0x2597, LOWER_RIGHT},
    {0x2598, UPPER_LEFT},
    {0x259d, UPPER_RIGHT},
    {0x2599, UPPER_LEFT | LOWER_LEFT | LOWER_RIGHT},
    {0x259a, UPPER_LEFT | LOWER_RIGHT},
    {0x259b, UPPER_LEFT | UPPER_RIGHT | LOWER_LEFT},
    {0x259c, UPPER_LEFT | UPPER_RIGHT | LOWER_RIGHT},
    {0x259e, UPPER_RIGHT | LOWER_LEFT},
    {0x259f, UPPER_RIGHT | LOWER_LEFT | LOWER_RIGHT},
};
static const struct { /* light, medium and dark shade: a quarter, a half, three quarters */
    uint32_t glyph;
    uint8_t cover;
} shade[] = {{0x2591, 64}, {0x2592, 128}, {0x2593, 191}};

enum { BLOCKS = sizeof block / sizeof *block, SHADES = sizeof shade / sizeof *shade };

void blocks_alphabet(struct alphabet *alphabet)
{
    uint8_t cover[PATCH];
    alphabet_init(alphabet);
    for (int i = 0; i < BLOCKS; i++) {
        for (int k = 0; k < PATCH; k++)
            cover[k] = block[i].mask >> k & 1 ? 255 : 0;
        alphabet_add(alphabet, cover);
    }
    for (int i = 0; i < SHADES; i++) {
        memset(cover, shade[i].cover, sizeof cover);
        alphabet_add(alphabet, cover);
    }
}

uint32_t blocks_glyph(int i)
{
    return i < BLOCKS ? block[i].glyph : shade[i - BLOCKS].glyph;
}

uint32_t blocks_mask(int i)
{
    return i < BLOCKS ? block[i].mask : 0;
}

/* Sums of the first 0 to 4 samples of each row. Every row of every mask is a run. */
struct sums {
    int32_t first[8][5][4]; /* channels, padded to four */
};

static void sum_rows(uint8_t (*sample)[3], struct sums *sums)
{
    memset(sums, 0, sizeof *sums);
    for (int i = 0; i < PATCH; i++)
        for (int k = 0; k < 3; k++)
            sums->first[i / 4][i % 4 + 1][k] = sums->first[i / 4][i % 4][k] + sample[i][k];
}

/* The sum over a mask. */
static void sum_mask(const struct sums *sums, uint32_t mask, int32_t sum[4])
{
    static const uint8_t from[16] = {[8] = 3, [12] = 2, [14] = 1},
                         to[16] = {0, 1, 0, 2, 0, 0, 0, 3, 4, 0, 0, 0, 4, 0, 4, 4};
    memset(sum, 0, 4 * sizeof *sum);
    for (int row = 0; row < 8; row++, mask >>= 4) {
        const int32_t *a = sums->first[row][from[mask & 15]], *b = sums->first[row][to[mask & 15]];
        for (int k = 0; k < 4; k++)
            sum[k] += b[k] - a[k];
    }
}

/* How well a mask divides the samples: the larger, the smaller the squares that are left. */
static double worth(int inside, const int32_t fore[4], const int32_t all[4])
{
    double in = 0, out = 0;
    for (int k = 0; k < 3; k++) {
        double a = fore[k], b = all[k] - fore[k];
        in += a * a;
        out += b * b;
    }
    return (inside ? in / inside : 0) + (inside < PATCH ? out / (PATCH - inside) : 0);
}

struct two_tone blocks_fit(uint8_t (*sample)[3])
{
    struct sums sums;
    int32_t all[4], fore[4], best[4] = {0};
    double most = -1;
    int chosen = 0;
    sum_rows(sample, &sums);
    sum_mask(&sums, UINT32_MAX, all);
    for (int i = 0; i < BLOCKS; i++) {
        sum_mask(&sums, block[i].mask, fore);
        double square = worth(__builtin_popcount(block[i].mask), fore, all);
        if (square > most + 1e-6) {
            most = square;
            chosen = i;
            memcpy(best, fore, sizeof best);
        }
    }
    struct two_tone two = {.glyph = block[chosen].glyph, .mask = block[chosen].mask};
    int inside = __builtin_popcount(two.mask);
    for (int k = 0; k < 3; k++) {
        two.fore[k] = (uint8_t)(inside ? best[k] / inside : 0);
        two.back[k] = (uint8_t)(inside < PATCH ? (all[k] - best[k]) / (PATCH - inside) : 0);
    }
    return two;
}
