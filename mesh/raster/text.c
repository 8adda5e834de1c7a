#include "raster/text.h"

#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

struct line { /* a text that grows; dead once memory ran out */
    char *text;
    size_t length, room;
    bool dead;
};

static void add(struct line *line, const char *text, size_t length)
{
    if (line->length + length + 1 > line->room && !line->dead) {
        size_t room = 2 * line->room + length + 256;
        char *more = realloc(line->text, room);
        line->dead = !more;
        line->text = more ? more : line->text;
        line->room = more ? room : line->room;
    }
    if (line->dead)
        return;
    memcpy(line->text + line->length, text, length);
    line->length += length;
    line->text[line->length] = '\0';
}

static void add_format(struct line *line, const char *format, ...)
    __attribute__((format(printf, 2, 3)));
static void add_format(struct line *line, const char *format, ...)
{
    char text[64];
    va_list list;
    va_start(list, format);
    int length = vsnprintf(text, sizeof text, format, list);
    va_end(list);
    if (length > 0)
        add(line, text, (size_t)length < sizeof text ? (size_t)length : sizeof text - 1);
}

static void add_code_point(struct line *line, uint32_t c)
{
    char utf8[4];
    size_t n = 0;
    if (c < 0x80) {
        utf8[n++] = (char)c;
    } else if (c < 0x800) {
        utf8[n++] = (char)(0xc0 | c >> 6);
        utf8[n++] = (char)(0x80 | (c & 0x3f));
    } else {
        utf8[n++] = (char)(0xe0 | (c >> 12 & 0x0f));
        utf8[n++] = (char)(0x80 | (c >> 6 & 0x3f));
        utf8[n++] = (char)(0x80 | (c & 0x3f));
    }
    add(line, utf8, n);
}

/* --- escape sequences (ECMA-48, select graphic rendition) ---------------------------------- */

static void add_colour(struct line *line, bool back, const uint8_t rgb[3], int colours)
{
    int number = xterm_nearest(rgb, colours);
    if (colours >= 1 << 24)
        add_format(line, ";%d;2;%d;%d;%d", back ? 48 : 38, rgb[0], rgb[1], rgb[2]);
    else if (colours >= 256)
        add_format(line, ";%d;5;%d", back ? 48 : 38, number);
    else
        add_format(line, ";%d", (number < 8 ? 30 + number : 82 + number) + (back ? 10 : 0));
}

static void add_state(struct line *line, const struct cell *cell, int colours)
{
    add(line, "\033[0", 3);
    if (cell->bold)
        add(line, ";1", 2);
    if (cell->dim)
        add(line, ";2", 2);
    if (cell->reverse)
        add(line, ";7", 2);
    if (cell->coloured)
        add_colour(line, false, cell->fore, colours);
    if (cell->backed)
        add_colour(line, true, cell->back, colours);
    add(line, "m", 1);
}

static bool same_state(const struct cell *a, const struct cell *b)
{
    return a->bold == b->bold && a->dim == b->dim && a->reverse == b->reverse &&
           a->coloured == b->coloured && a->backed == b->backed &&
           (!a->coloured || memcmp(a->fore, b->fore, 3) == 0) &&
           (!a->backed || memcmp(a->back, b->back, 3) == 0);
}

static bool is_blank(const struct cell *cell, bool colours)
{
    return cell->glyph == ' ' && !(colours && (cell->backed || cell->reverse));
}

static void add_row(struct line *line, const struct cell *cell, int columns, int colours)
{
    const struct cell plain = {.glyph = ' '};
    const struct cell *state = &plain;
    while (columns && is_blank(&cell[columns - 1], colours > 0))
        columns--;
    for (int x = 0; x < columns; x++) {
        if (colours > 0 && !same_state(&cell[x], state)) {
            add_state(line, &cell[x], colours);
            state = &cell[x];
        }
        add_code_point(line, cell[x].glyph);
    }
    if (!same_state(state, &plain))
        add(line, "\033[0m", 4);
    add(line, "\n", 1);
}

char *text_from_cells(const struct cell *cells, int columns, int rows, int colours)
{
    struct line line = {0};
    add(&line, "", 0);
    for (int y = 0; y < rows; y++)
        add_row(&line, cells + (size_t)y * (size_t)columns, columns, colours);
    if (line.dead) {
        free(line.text);
        return NULL;
    }
    return line.text;
}
