/* Which character looks most like a patch of the picture. Inside raster only. */
#ifndef FETTLE_RASTER_MATCH_H
#define FETTLE_RASTER_MATCH_H

#include <stdint.h>

enum {
    PATCH = 32, /* samples of a cell: 4 columns x 8 rows, rows from the top */
    FEATURES = 16,
    GLYPHS_MOST = 96
};

/* Characters to choose from, with their low spatial frequencies as whole numbers. */
struct alphabet {
    int16_t wave[FEATURES][PATCH]; /* the frequencies themselves; the first is the mean */
    int count;
    int16_t feature[GLYPHS_MOST][FEATURES];
    double margin[FEATURES];    /* of all characters, in parts of their mean feature */
    double square[GLYPHS_MOST]; /* of the features but the mean: with themselves, */
    double cross[GLYPHS_MOST];  /*   with the margins times the mean, */
    double margins;             /*   and of the margins */
    int mean[GLYPHS_MOST];      /* ink of all the cell, 0 to 255 */
};

void alphabet_init(struct alphabet *alphabet);
/* Adds a character that covers its cell so (0 to 255). */
void alphabet_add(struct alphabet *alphabet, const uint8_t cover[PATCH]);
/* The printable ASCII characters, in their order from ' '. */
void alphabet_ascii(struct alphabet *alphabet);

/* The character (in the order added) that looks most like the wanted ink (0 to 255); of equal ones
 * the first. */
int alphabet_match(const struct alphabet *alphabet, const uint8_t wanted[PATCH]);

#endif
