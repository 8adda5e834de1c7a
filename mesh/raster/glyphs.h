/* The shapes of the printable ASCII characters; glyphs.c names the font. Inside raster only. */
#ifndef FETTLE_RASTER_GLYPHS_H
#define FETTLE_RASTER_GLYPHS_H

#include <stdint.h>

enum {
    GLYPH_FIRST = ' ',
    GLYPH_COUNT = 95,
    GLYPH_WIDTH = 10,
    GLYPH_HEIGHT = 20,
    COVER_COLUMNS = 4,
    COVER_ROWS = 8
};

/* Pixels, rows from the top, the leftmost the highest of 10 bits. */
extern const uint16_t glyph_bits[GLYPH_COUNT][GLYPH_HEIGHT];

/* How much of each part of the cell is ink, 0 to 255; rows from the top. */
extern const uint8_t glyph_cover[GLYPH_COUNT][COVER_ROWS * COVER_COLUMNS];

#endif
