/* Panels: named stacks of lines beside the picture. */
#ifndef FETTLE_TUI_PANEL_H
#define FETTLE_TUI_PANEL_H

#include <stdbool.h>

#include "tui/paint.h"

struct app;

/* Where lines go, one below the other; those past the end are counted, but not drawn. */
struct area {
    int row, column, rows, columns;
    int at; /* the next line */
};

/* One line, cut off at the area's width. */
void area_line(struct area *area, enum tone tone, const char *format, ...)
    __attribute__((format(printf, 3, 4)));

/* Text over as many lines as it needs, broken at blanks; lines after the first are indented. */
void area_text(struct area *area, enum tone tone, const char *text);

/* How many lines area_text takes for it. */
int area_height(int columns, const char *text);

/* "name       value", the value to the right. */
void area_pair(struct area *area, enum tone tone, const char *name, const char *value);

struct panel {
    const char *name;
    void (*draw)(struct app *app, struct area *area);
};

/* Has a click on the area's lines from `first` to the present one do that. */
struct row;
void area_click(struct app *app, const struct area *area, int first, const struct row *row);

/* Draws the panels, beginning with app->panel, as many as fit. */
void panels_draw(struct app *app, struct area area);

/* How many there are. */
int panels_count(void);

#endif
