/* From samples to character cells. */
#ifndef FETTLE_RASTER_CELLS_H
#define FETTLE_RASTER_CELLS_H

#include "raster/raster.h"

struct cell {
    uint32_t glyph;   /* Unicode code point; ASCII only in CELLS_ASCII */
    uint8_t fore[3], back[3]; /* sRGB; meaningful when coloured */
    bool coloured;    /* fore is meant */
    bool backed;      /* back is meant */
    bool bold, reverse, dim;
};

enum cell_style {
    CELLS_ASCII,  /* printable ASCII matched by shape; monochrome or with a foreground colour */
    CELLS_BLOCKS  /* Unicode half and quadrant blocks with two colours a cell */
};

/* How many samples a cell takes in that style. */
void cells_samples(enum cell_style style, int *columns, int *rows);

/* Fills cells[columns * rows] from an image drawn at columns * sample columns by rows * sample
 * rows. `colours`: how many the terminal has (0 or 8, 16, 256, 1 << 24); below 16 light is shown by
 * glyphs alone. */
void cells_from_image(const struct image *image, enum cell_style style, int colours,
                      struct cell *cells, int columns, int rows);

#endif
