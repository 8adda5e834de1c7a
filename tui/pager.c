#include "tui/pager.h"

#include <curses.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "tui/find.h"
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
    free(pager->found);
    pager->text = pager->found = NULL;
    pager->on = false;
}

bool pager_find(struct pager *pager, const char *words)
{
    snprintf(pager->find, sizeof pager->find, "%s", words);
    free(pager->found);
    pager->found = *words ? find_entries(pager->text, words) : NULL;
    pager->top = 0;
    return !pager->found || *pager->found;
}

static void to(struct pager *pager, int top)
{
    int last = pager->lines > pager->rows ? pager->lines - pager->rows : 0;
    pager->top = top < 0 ? 0 : top > last ? last : top;
}

/* One line at the left edge, with something indented below it; or the first, with nothing. */
static bool is_heading(const char *text, const char *line)
{
    const char *below = strchr(line, '\n');
    bool first = line == text, alone = first || line - 1 == text || line[-2] == '\n';
    return *line && *line != ' ' && alone && below &&
           (below[1] == ' ' || (first && below[1] == '\n'));
}

/* Draws the text's lines from `top` on, or only counts them all. What is wider than the screen
 * goes on in the next line, indented. */
static int flow(const struct pager *pager, int columns, bool draws)
{
    int i = 0;
    bool fresh = true, heading = false;
    const char *text = pager->found ? pager->found : pager->text;
    for (const char *cursor = text; *cursor; i++) {
        const char *line = cursor;
        int indent = fresh || columns <= HANG ? 0 : HANG;
        size_t length = text_line(&cursor, columns - indent);
        if (fresh)
            heading = is_heading(text, line);
        if (draws && i >= pager->top && i < pager->top + pager->rows) {
            paint_tone(heading ? TONE_HEAD : TONE_PLAIN);
            paint_text(1 + i - pager->top, indent, line, length, columns);
        }
        fresh = cursor > line && cursor[-1] == '\n';
    }
    return i;
}

/* The line of keys, and how far it was read. */
static void draw_foot(const struct pager *pager, int rows, int columns)
{
    int at = 0;
    paint_tone(TONE_QUIET);
    if (pager->find[0]) {
        char text[sizeof pager->find + 8];
        snprintf(text, sizeof text, "find: %s", pager->find);
        paint_tone(TONE_MARK);
        at = paint_text(rows - 1, 0, text, strlen(text), columns - 20);
        paint_tone(TONE_QUIET);
        mvaddnstr(rows - 1, at,
                  pager->found && !*pager->found ? "  nothing has it   Esc: all again"
                                                 : "   Esc: all again",
                  columns - at);
    } else {
        mvaddnstr(rows - 1, 0,
                  columns >= 60 ? "arrows, PgUp, PgDn, Space: read on  type a word: find  Esc: back"
                                : "Space: on  a word: find  Esc: back",
                  columns);
    }
    if (pager->lines > pager->rows && columns >= 78)
        mvprintw(rows - 1, columns - 12, "%5d of %d", pager->top + pager->rows, pager->lines);
    paint_tone(TONE_PLAIN);
}

void pager_draw(struct pager *pager, int rows, int columns)
{
    pager->rows = rows - 2;
    pager->lines = flow(pager, columns, false);
    to(pager, pager->top);
    paint_tone(TONE_TITLE);
    mvprintw(0, 0, " fettle  %-*.*s", columns - 9, columns - 9, pager->title);
    flow(pager, columns, true);
    draw_foot(pager, rows, columns);
}

/* A byte more of what is looked for, or one less; whole characters go. */
static void type(struct pager *pager, int key)
{
    char words[sizeof pager->find];
    size_t n = strlen(pager->find);
    memcpy(words, pager->find, sizeof words);
    if (key != KEY_BACKSPACE && n + 1 < sizeof words)
        words[n++] = (char)key;
    while (key == KEY_BACKSPACE && n > 0 && ((unsigned char)words[--n] & 0xc0) == 0x80)
        ;
    words[n] = '\0';
    pager_find(pager, words);
}

/* Keys that read on. */
static bool read_on(struct pager *pager, int key)
{
    switch (key) {
    case KEY_DOWN:
    case '\r':
        to(pager, pager->top + 1);
        return true;
    case KEY_UP:
        to(pager, pager->top - 1);
        return true;
    case KEY_NPAGE:
        to(pager, pager->top + pager->rows - 1);
        return true;
    case KEY_PPAGE:
        to(pager, pager->top - pager->rows + 1);
        return true;
    case KEY_HOME:
        to(pager, 0);
        return true;
    case KEY_END:
        to(pager, pager->lines);
        return true;
    default:
        return false;
    }
}

void pager_key(struct pager *pager, int key)
{
    key = key == 127 || key == ('H' & 31) ? KEY_BACKSPACE : key;
    bool finds = pager->find[0];
    if (read_on(pager, key))
        return;
    if (!finds && key == ' ')
        to(pager, pager->top + pager->rows - 1);
    else if (!finds && key < 256 && key > 0 && strchr("q?:", key))
        pager_close(pager); /* what one would go back by, or do next */
    else if ((key >= ' ' && key < 256) || (finds && key == KEY_BACKSPACE))
        type(pager, key);
    else if (finds && key == 27)
        pager_find(pager, "");
    else
        pager_close(pager);
}
