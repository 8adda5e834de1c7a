/* The findings, and which of them is being looked at. A click goes to one. */
#include <stdio.h>

#include "tui/app.h"
#include "tui/panel.h"
#include "tui/text.h"

/* `number`: of the piece, before it, where there are several. */
static void draw_finding(struct area *area, const char *number, const struct finding *finding,
                         const struct walk *walk)
{
    static const char sign[] = {'!', '*', '-'}; /* error, warning, hint: never by colour alone */
    static const enum tone tone[] = {TONE_BAD, TONE_WARN, TONE_QUIET};
    char count[TEXT_SIZE], which[TEXT_SIZE + 24], name[128];
    text_count(finding->count, count);
    if (walk && finding->place_count)
        snprintf(which, sizeof which, "%zu/%s", walk->place + 1, count);
    else
        snprintf(which, sizeof which, "%s", count);
    snprintf(name, sizeof name, "%s%c %s", number, sign[finding->severity], finding->check->title);
    area_pair(area, walk ? TONE_MARK : tone[finding->severity], name, which);
}

static void draw_piece(struct app *app, struct area *area, size_t i)
{
    bool whole;
    const struct inspection *inspection = study_inspection(app, app->scene->piece[i], &whole);
    char number[24] = "";
    if (app_pieces(app) > 1)
        snprintf(number, sizeof number, "%zu ", i + 1);
    if (inspection && inspection->finding_count == 0 && whole)
        area_line(area, TONE_GOOD, "%snone", number);
    for (size_t f = 0; inspection && f < inspection->finding_count; f++) {
        bool here = app->walk.on && app->walk.piece == i && app->walk.finding == f;
        int first = area->at;
        draw_finding(area, number, &inspection->finding[f], here ? &app->walk : NULL);
        area_click(app, area, first, &(struct row){ROW_FINDING, i, f});
    }
    double progress = study_progress(app);
    if (study_failed(app, app->scene->piece[i]))
        area_line(area, TONE_WARN, "%s  stopped: out of memory", number);
    else if (!whole && progress >= 0)
        area_line(area, TONE_QUIET, "%s  still looking ... %.0f%%", number, 100 * progress);
    else if (!whole)
        area_line(area, TONE_QUIET, "%s  still looking ...", number);
}

static void draw_from(struct app *app, struct area *area, size_t from)
{
    for (size_t i = from; i < app->scene->count; i++)
        if (app_works_on(app, i))
            draw_piece(app, area, i);
}

/* Where there is no room for all, and one is being looked at, it begins with the piece of that. */
static void draw(struct app *app, struct area *area)
{
    struct area all = {.columns = area->columns};
    draw_from(app, &all, 0);
    draw_from(app, area, all.at > area->rows && app->walk.on ? app->walk.piece : 0);
}

const struct panel panel_findings = {"FINDINGS", draw};
