/* The surface in figures: every figure of the inspection that is known. */
#include <stdio.h>

#include "tui/app.h"
#include "tui/panel.h"
#include "tui/text.h"

static void figure(struct area *area, const struct figure_row *row,
                   const struct figure_value *value)
{
    char text[96] = "-";
    if (value->known && row->kind == FIGURE_KIND_COUNT)
        text_integer(value->count, text);
    else if (value->known && row->kind == FIGURE_KIND_REAL)
        snprintf(text, sizeof text, "%.6g %s", value->real, row->unit);
    else if (value->known && row->kind == FIGURE_KIND_FLAG)
        snprintf(text, sizeof text, "%s", value->flag ? "yes" : "no");
    else if (value->known && row->kind == FIGURE_KIND_VEC)
        snprintf(text, sizeof text, "%.4g %.4g %.4g %s", value->vec[0], value->vec[1],
                 value->vec[2], row->unit);
    else if (value->known && row->kind == FIGURE_KIND_TEXT)
        snprintf(text, sizeof text, "%s", value->text);
    area_pair(area, TONE_PLAIN, row->title, text);
}

static void draw(struct app *app, struct area *area)
{
    bool whole;
    const struct piece *piece = app_piece(app);
    const struct inspection *inspection = study_inspection(app, piece, &whole);
    if (!inspection)
        return;
    if (app_pieces(app) > 1)
        area_text(area, TONE_QUIET, "of the first piece; Tab chooses another");
    for (enum figure i = FIGURE_vertices; i < FIGURE_colour; i++)
        if (i != FIGURE_size && i != FIGURE_triangles) /* the part tells them, and the rest too */
            figure(area, figure_row(i), &inspection->figure[i]);
}

const struct panel panel_surface = {"SURFACE", draw};
