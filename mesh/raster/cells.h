/* From samples to character cells. */
#ifndef FETTLE_RASTER_CELLS_H
#define FETTLE_RASTER_CELLS_H

#include "raster/raster.h"

struct cell {
    uint32_t glyph;           /* Unicode code point; ASCII only in CELLS_ASCII */
    uint8_t fore[3], back[3]; /* sRGB; meaningful when coloured */
    bool coloured;            /* fore is meant */
    bool backed;              /* back is meant */
    bool bold, reverse, dim;
};

enum cell_style {
    CELLS_ASCII, /* printable ASCII matched by shape; monochrome or with a foreground colour */
    CELLS_BLOCKS /* Unicode half, quadrant and eighth blocks, with two colours a cell from 256
                    colours on; below that shades and blocks matched by shape */
};

/* How many samples a cell takes in that style (both: 4 x 8). */
void cells_samples(enum cell_style style, int *columns, int *rows);

struct cell_look {
    enum cell_style style;
    int colours;       /* how many the terminal has: 0 or 8, 16, 256, 1 << 24. Below 16 light is
                          shown by glyphs alone, and only pieces have colours (PAINT_PIECE, from 8
                          on); from 16 on the glyph has a foreground colour */
    bool light_ground; /* the terminal's background is light: ink is dark there */
    bool own_light;    /* with PAINT_OWN on fewer than 16 colours: the surface's own colours show as
                          lighter and darker */
};

/* A piece's tint (raster_tint) as a terminal of so many colours shows it. Of 8 and of 16 colours,
 * of which the nearest would be the same for several tints, each tint has one of its own. */
void cells_tint(const uint8_t tint[3], int colours, uint8_t rgb[3]);

/* Fills cells[columns * rows] from an image drawn at columns * sample columns by rows * sample
 * rows (else all are blank). fore and back are colours that the terminal has: below 256 of the
 * first 16 (as xterm_rgb gives them), below 2^24 of the 256. The marks, the letters of the axes
 * and the scale bar with its length are cells too: they come last, over the picture. */
void cells_from_image(const struct image *image, const struct cell_look *look, struct cell *cells,
                      int columns, int rows);

/* The number (0 to 255) of the colour nearest to it that a terminal of so many colours has, and
 * what colour number i looks like by xterm's defaults. Of the 256 the first 16 are never chosen:
 * terminals let their users change them. */
int xterm_nearest(const uint8_t rgb[3], int colours);
void xterm_rgb(int number, uint8_t rgb[3]);

#endif
