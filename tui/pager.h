/* Pages of text over the whole screen: the help. What is typed leaves only the entries that have
 * it. */
#ifndef FETTLE_TUI_PAGER_H
#define FETTLE_TUI_PAGER_H

#include <stdbool.h>

struct pager {
    bool on;
    char title[64];
    char *text;           /* see find.h for its shape */
    char *found;          /* those of its entries that have what is looked for; NULL: all of it */
    char find[64];        /* what is looked for; "": nothing */
    int lines, top, rows; /* in all, the first in sight, how many are in sight */
};

/* Opens it on a text (taken over; NULL, out of memory: it stays closed). */
void pager_open(struct pager *pager, const char *title, char *text);
void pager_close(struct pager *pager);

/* Looks for words from now on; "" shows all. False: nothing has them (the page is then empty). */
bool pager_find(struct pager *pager, const char *words);

void pager_draw(struct pager *pager, int rows, int columns);

/* Keys to read on and to look something up; Esc, q and a key that means nothing here close it. */
void pager_key(struct pager *pager, int key);

#endif
