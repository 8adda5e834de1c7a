#include "tui/pager.h"

#include <curses.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "tui/paint.h"
#include "tui/text.h"

enum { HANG = 6 }; /* columns */

void pager_open(struct pager *pager, const char *title, char *text)
{
    pager_close(pager);
    if (!text)
        return;
    *pager = (struct pager){.on = true, .text = text};
    snprintf(pager->title, sizeof pager->title, "%s", title);
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

/* Draws the text's lines from `top` on, or only counts them all. What is wider than the screen
 * goes on in the next line, indented. */
static int flow(const struct pager *pager, int columns, bool draws)
{
    int i = 0;
    bool fresh = true, heading = false;
    for (const char *cursor = pager->text; *cursor; i++) {
        const char *line = cursor;
        int indent = fresh || columns <= HANG ? 0 : HANG;
        size_t length = text_line(&cursor, columns - indent);
        if (fresh)
            heading = length > 0 && *line != ' ';
        if (draws && i >= pager->top && i < pager->top + pager->rows) {
            paint_tone(heading ? TONE_HEAD : TONE_PLAIN);
            paint_text(1 + i - pager->top, indent, line, length, columns);
        }
        fresh = cursor > line && cursor[-1] == '\n';
    }
    return i;
}

void pager_draw(struct pager *pager, int rows, int columns)
{
    pager->rows = rows - 2;
    pager->lines = flow(pager, columns, false);
    to(pager, pager->top);
    paint_tone(TONE_TITLE);
    mvprintw(0, 0, " fettle  %-*.*s", columns - 9, columns - 9, pager->title);
    flow(pager, columns, true);
    paint_tone(TONE_QUIET);
    mvaddnstr(rows - 1, 0,
              columns >= 56 ? "arrows, PgUp, PgDn, Space: read on   any other key: back"
                            : "Space: read on   Esc: back",
              columns);
    if (pager->lines > pager->rows && columns >= 72)
        mvprintw(rows - 1, columns - 12, "%5d of %d", pager->top + pager->rows, pager->lines);
    paint_tone(TONE_PLAIN);
}

void pager_key(struct pager *pager, int key)
{
    switch (key) {
    case KEY_DOWN:
    case '\r':
        to(pager, pager->top + 1);
        break;
    case KEY_UP:
        to(pager, pager->top - 1);
        break;
    case KEY_NPAGE:
    case ' ':
        to(pager, pager->top + pager->rows - 1);
        break;
    case KEY_PPAGE:
        to(pager, pager->top - pager->rows + 1);
        break;
    case KEY_HOME:
        to(pager, 0);
        break;
    case KEY_END:
        to(pager, pager->lines);
        break;
    default:
        pager_close(pager);
    }
}
