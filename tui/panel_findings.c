/* The findings, and which of them is being looked at. */
#include <stdio.h>

#include "tui/app.h"
#include "tui/panel.h"
#include "tui/text.h"

static void draw(struct app *app, struct area *area)
{
    bool whole;
    const struct piece *piece = app_piece(app);
    const struct inspection *inspection = study_inspection(app, piece, &whole);
    if (!inspection)
        return;
    static const char sign[] = {'!', '*', '-'}; /* error, warning, hint: never by colour alone */
    static const enum tone tone[] = {TONE_BAD, TONE_WARN, TONE_QUIET};
    if (inspection->finding_count == 0 && whole)
        area_line(area, TONE_GOOD, "none");
    for (size_t i = 0; i < inspection->finding_count; i++) {
        const struct finding *f = &inspection->finding[i];
        bool here = app->walk.on && app->walk.finding == i;
        char count[TEXT_SIZE];
        text_count(f->count, count);
        char line[128];
        if (here && f->place_count)
            snprintf(line, sizeof line, "%c %s %zu of %s", sign[f->severity], f->check->title,
                     app->walk.place + 1, count);
        else
            snprintf(line, sizeof line, "%c %s %s", sign[f->severity], f->check->title, count);
        area_line(area, here ? TONE_MARK : tone[f->severity], "%s", line);
    }
    if (!whole)
        area_line(area, TONE_QUIET, "  still looking ...");
}

const struct panel panel_findings = {"FINDINGS", draw};
