/* The steps done, the latest first; those undone are shown in brackets. */
#include "tui/app.h"
#include "tui/panel.h"

static void draw(struct app *app, struct area *area)
{
    size_t present, count = session_steps(app->session, &present);
    if (count == 0)
        area_line(area, TONE_QUIET, "none");
    for (size_t i = count; i-- > 0 && area->at < area->rows;) {
        bool last = i + 1 == present;
        if (i >= present)
            area_line(area, TONE_QUIET, "  (%s)", session_step_label(app->session, i));
        else
            area_line(area, TONE_PLAIN, "%s %s", last ? ">" : " ", session_step_text(app->session, i));
        if (last)
            area_text(area, TONE_QUIET, session_step_notes(app->session, i));
    }
}

const struct panel panel_steps = {"STEPS", draw};
