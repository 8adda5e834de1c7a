#include "tui/pager.h"

#include <curses.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "tui/paint.h"

void pager_open(struct pager *pager, const char *title, char *text)
{
    pager_close(pager);
    if (!text)
        return;
    *pager = (struct pager){.on = true, .text = text};
    snprintf(pager->title, sizeof pager->title, "%s", title);
    for (const char *p = text; *p; p++)
        pager->lines += *p == '\n';
}

void pager_close(struct pager *pager)
{
    free(pager->text);
    pager->text = NULL;
    pager->on = false;
}

static void to(struct pager *pager, int top)
{
    int last = pager->lines > pager->rows ? pager->lines - pager->rows : 0;
    pager->top = top < 0 ? 0 : top > last ? last : top;
}

void pager_draw(struct pager *pager, int rows, int columns)
{
    pager->rows = rows - 2;
    to(pager, pager->top);
    paint_tone(TONE_TITLE);
    mvprintw(0, 0, " fettle  %-*.*s", columns - 9, columns - 9, pager->title);
    const char *line = pager->text;
    for (int i = 0; *line && i < pager->top + pager->rows; i++) {
        int length = (int)strcspn(line, "\n");
        paint_tone(*line == ' ' || length == 0 ? TONE_PLAIN : TONE_HEAD);
        if (i >= pager->top)
            mvaddnstr(1 + i - pager->top, 0, line, length < columns ? length : columns);
        line += length + (line[length] == '\n');
    }
    paint_tone(TONE_QUIET);
    mvaddnstr(rows - 1, 0, "arrows, PgUp, PgDn, Space: read on   any other key: back", columns);
    paint_tone(TONE_PLAIN);
}

void pager_key(struct pager *pager, int key)
{
    switch (key) {
    case KEY_DOWN: case '\r': to(pager, pager->top + 1); break;
    case KEY_UP: to(pager, pager->top - 1); break;
    case KEY_NPAGE: case ' ': to(pager, pager->top + pager->rows - 1); break;
    case KEY_PPAGE: to(pager, pager->top - pager->rows + 1); break;
    case KEY_HOME: to(pager, 0); break;
    case KEY_END: to(pager, pager->lines); break;
    default: pager_close(pager);
    }
}
