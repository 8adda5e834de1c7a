/* The screen's layout: title bar, picture, panels, a line of words, a line of keys. */
#ifndef FETTLE_TUI_DRAW_H
#define FETTLE_TUI_DRAW_H

struct app;

enum { SCREEN_ROWS_LEAST = 12, SCREEN_COLUMNS_LEAST = 40 };

/* Finds out how large the terminal is and divides it. */
void draw_layout(struct app *app);

/* Draws everything and shows it. */
void draw_screen(struct app *app);

#endif
