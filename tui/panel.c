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
    if (area->at >= area->rows)
        return;
    paint_tone(tone);
    mvaddnstr(area->row + area->at, area->column, text, length < area->columns ? length : area->columns);
    paint_tone(TONE_PLAIN);
    area->at++;
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

void area_pair(struct area *area, enum tone tone, const char *name, const char *value)
{
    int space = area->columns - (int)strlen(name);
    if (space > (int)strlen(value)) {
        area_line(area, tone, "%s%*s", name, space, value);
        return;
    }
    area_line(area, tone, "%s", name);
    area_line(area, tone, "%*s", area->columns, value);
}

void panels_draw(struct app *app, struct area area)
{
    int count = panels_count();
    for (int i = 0; i < count && area.rows >= 2; i++) {
        const struct panel *panel = panels[(app->panel + (size_t)i) % (size_t)count];
        struct area part = area;
        area_line(&part, TONE_HEAD, "%s", panel->name);
        panel->draw(app, &part);
        area.row += part.at + 1;
        area.rows -= part.at + 1;
    }
}
