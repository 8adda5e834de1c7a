/* Pages of text over the whole screen: the help. */
#ifndef FETTLE_TUI_PAGER_H
#define FETTLE_TUI_PAGER_H

#include <stdbool.h>

struct pager {
    bool on;
    char title[64];
    char *text;           /* lines; one that does not begin with a blank is a heading */
    int lines, top, rows; /* in all, the first in sight, how many are in sight */
};

/* Opens it on a text (taken over; NULL, out of memory: it stays closed). */
void pager_open(struct pager *pager, const char *title, char *text);
void pager_close(struct pager *pager);

void pager_draw(struct pager *pager, int rows, int columns);

/* Keys to read on; any other closes it. */
void pager_key(struct pager *pager, int key);

#endif
