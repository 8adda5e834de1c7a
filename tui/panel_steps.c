/* The steps done, the latest first; those undone are shown in brackets. */
#include <stdio.h>
#include <string.h>

#include "tui/app.h"
#include "tui/panel.h"

/* The step as text, its file without the folders, which would leave no room for the name. */
static void shorten(const char *step, char *text, size_t size)
{
    const char *first = strchr(step, '/'), *last = strrchr(step, '/'), *start = first;
    while (first && start > step && !strchr(" =\"", start[-1]))
        start--;
    if (first)
        snprintf(text, size, "%.*s%s", (int)(start - step), step, last + 1);
    else
        snprintf(text, size, "%s", step);
}

/* The last one is told whole. */
static void draw_done(struct area *area, bool last, const char *text)
{
    char line[260];
    snprintf(line, sizeof line, "%s %s", last ? ">" : " ", text);
    if (last)
        area_text(area, TONE_PLAIN, line);
    else
        area_line(area, TONE_PLAIN, "%s", line);
}

static void draw(struct app *app, struct area *area)
{
    const struct trail *trail = &app->trail;
    if (trail->count == 0)
        area_line(area, TONE_QUIET, "none");
    for (size_t i = trail->count; i-- > 0 && area->at < area->rows;) {
        char text[256];
        bool last = i + 1 == trail->present;
        shorten(trail->step[i].text, text, sizeof text);
        if (i >= trail->present)
            area_line(area, TONE_QUIET, "  (%s)", text);
        else
            draw_done(area, last, text);
        if (last)
            area_text(area, TONE_QUIET, trail->step[i].notes);
    }
}

const struct panel panel_steps = {"STEPS", draw};
