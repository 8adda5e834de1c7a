#include "tui/panel.h"

#include <curses.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

#include "tui/app.h"
#include "tui/text.h"

#define PANEL(symbol) extern const struct panel panel_##symbol;
#include "tui/panels.def"
#undef PANEL

static const struct panel *const panels[] = {
#define PANEL(symbol) &panel_##symbol,
#include "tui/panels.def"
#undef PANEL
};

int panels_count(void)
{
    return sizeof panels / sizeof *panels;
}

static void put(struct area *area, enum tone tone, const char *text, int length)
{
    if (area->at++ >= area->rows)
        return; /* counted, so that what it needs can be measured */
    paint_tone(tone);
    paint_text(area->row + area->at - 1, area->column, text, (size_t)length, area->columns);
    paint_tone(TONE_PLAIN);
}

void area_line(struct area *area, enum tone tone, const char *format, ...)
{
    char text[512];
    va_list list;
    va_start(list, format);
    vsnprintf(text, sizeof text, format, list);
    va_end(list);
    put(area, tone, text, (int)strlen(text));
}

void area_text(struct area *area, enum tone tone, const char *text)
{
    for (bool fresh = true; *text;) {
        const char *line = text;
        int indent = fresh ? 0 : 2;
        size_t n = text_line(&text, area->columns > indent ? area->columns - indent : 1);
        char whole[512];
        snprintf(whole, sizeof whole, "%*s%.*s", indent, "", (int)n, line);
        put(area, tone, whole, (int)strlen(whole));
        fresh = line[n] == '\n';
    }
}

int area_height(int columns, const char *text)
{
    struct area area = {.columns = columns};
    area_text(&area, TONE_PLAIN, text);
    return area.at;
}

void area_pair(struct area *area, enum tone tone, const char *name, const char *value)
{
    int long_value = text_columns(value, strlen(value));
    int space = area->columns - text_columns(name, strlen(name)) - long_value;
    if (space > 0) {
        area_line(area, tone, "%s%*s%s", name, space, "", value);
        return;
    }
    space = area->columns - long_value;
    area_line(area, tone, "%s", name);
    area_line(area, tone, "%*s%s", space > 0 ? space : 0, "", value);
}

void area_click(struct app *app, const struct area *area, int first, const struct row *row)
{
    for (int at = first; at < area->at && at < area->rows; at++)
        if (area->row + at < PANEL_ROWS)
            app->row[area->row + at] = *row;
}

void panels_draw(struct app *app, struct area area)
{
    int count = panels_count();
    memset(app->row, 0, sizeof app->row);
    for (int i = 0; i < count && area.rows >= 2; i++) {
        const struct panel *panel = panels[(app->panel + (size_t)i) % (size_t)count];
        struct area part = {.row = area.row + 1,
                            .column = area.column,
                            .rows = area.rows - 1,
                            .columns = area.columns};
        panel->draw(app, &part);
        if (part.at == 0)
            continue; /* it has nothing to tell, so it needs no heading */
        struct area heading = area;
        area_line(&heading, TONE_HEAD, "%s", panel->name);
        part.at++;
        area.row += part.at + 1;
        area.rows -= part.at + 1;
    }
}
