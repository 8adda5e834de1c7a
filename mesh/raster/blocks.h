/* The Unicode block characters (U+2580 to U+259F) as shapes. Inside raster only. */
#ifndef FETTLE_RASTER_BLOCKS_H
#define FETTLE_RASTER_BLOCKS_H

#include "raster/match.h"

/* All of them that fit a cell of 4 x 8, shades and the blank among them, to match by shape.
 * blocks_glyph gives the code point of the i-th, blocks_mask the samples it covers (bit i: sample i
 * of the cell; 0 for shades). */
void blocks_alphabet(struct alphabet *alphabet);
uint32_t blocks_glyph(int i);
uint32_t blocks_mask(int i);

struct two_tone { /* a cell in two colours */
    uint32_t glyph;
    uint32_t mask; /* bit i: sample i has the foreground */
    uint8_t fore[3], back[3];
};

/* The block character and two colours that come nearest to the samples (least squares). */
struct two_tone blocks_fit(uint8_t (*sample)[3]);

#endif
