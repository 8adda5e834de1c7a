/* Cells and colours on the terminal: what the terminal has is found out once. */
#ifndef FETTLE_TUI_PAINT_H
#define FETTLE_TUI_PAINT_H

#include "raster/cells.h"

enum tone { /* the colours of the screen's own text; each is also told by place, words or reverse */
            TONE_PLAIN,
            TONE_TITLE, /* the bar on top */
            TONE_HEAD,  /* a panel's title */
            TONE_QUIET, /* what matters less */
            TONE_GOOD,
            TONE_BAD,
            TONE_WARN,
            TONE_MARK, /* what the user points at */
            TONE_COUNT
};

/* After initscr: colours, default background, UTF-8. */
void paint_init(void);

int paint_colours(void); /* 0, 8, 16, 256 */
bool paint_utf8(void);   /* block glyphs can be shown */

/* The curses attributes of a tone, and the number of its colour pair. */
void paint_tone(enum tone tone);

/* Writes the number of a piece as it stands on the picture, " 2 ", reversed; with its tint when the
 * picture shows it. */
void paint_number(int row, int column, size_t number, bool tinted);

/* Draws a cell of the picture at a place of the screen. */
void paint_cell(int row, int column, const struct cell *cell);

/* Writes text at most so many columns wide; a '?' stands for what the terminal's character set does
 * not have. Returns how many columns it took. */
int paint_text(int row, int column, const char *text, size_t length, int columns);

#endif
