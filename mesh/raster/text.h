/* Cells as lines of text. */
#ifndef FETTLE_RASTER_TEXT_H
#define FETTLE_RASTER_TEXT_H

#include "raster/cells.h"

/* The cells as one string of `rows` lines that each end in '\n'; blanks at their ends are left
 * out. With colours > 0 with the ANSI escape sequences (ECMA-48 SGR) for a terminal of so many
 * colours, each line ending in the terminal's own state. UTF-8. The caller frees; NULL when out of
 * memory. */
char *text_from_cells(const struct cell *cells, int columns, int rows, int colours);

#endif
