/* The part: what it is, how big, and whether it is sound. */
#include <math.h>
#include <stdio.h>

#include "core/topology.h"
#include "tui/app.h"
#include "tui/panel.h"
#include "tui/text.h"

/* Three sides with four digits that count, in one unit. */
static void draw_sides(struct area *area, enum tone tone, struct vec size, const char *unit)
{
    const double side[3] = {size.x, size.y, size.z};
    char text[3][32];
    for (int k = 0; k < 3; k++) {
        double l = fabs(side[k]);
        snprintf(text[k], sizeof text[k], "%.*f", l >= 1000 ? 0 : l >= 100 ? 1 : l >= 10 ? 2 : 3, side[k]);
    }
    area_line(area, tone, "%s x %s x %s %s", text[0], text[1], text[2], unit);
}

static void draw_size(struct area *area, const struct piece *piece)
{
    const struct bounds *b = mesh_bounds(piece->mesh, NULL);
    if (!b)
        return;
    draw_sides(area, TONE_PLAIN, b->size, "mm");
    draw_sides(area, TONE_QUIET, vec_scale(b->size, 1 / 25.4), "in");
}

static void draw_unit(struct area *area, const struct piece *piece)
{
    static const char *const source[] = {"as told", "from the file", "assumed"};
    if (piece->unit == UNIT_NONE)
        return;
    bool assumed = piece->unit_source == UNIT_ASSUMED;
    char text[64];
    snprintf(text, sizeof text, "%s, %s", unit_name(piece->unit), source[piece->unit_source]);
    area_pair(area, assumed ? TONE_WARN : TONE_PLAIN, "unit", text);
}

static void draw_verdict(struct app *app, struct area *area, const struct piece *piece)
{
    bool whole;
    const struct inspection *inspection = study_inspection(app, piece, &whole);
    if (!inspection) {
        area_line(area, TONE_QUIET, "inspecting ...");
        return;
    }
    size_t errors = 0;
    for (size_t i = 0; i < inspection->finding_count; i++)
        errors += inspection->finding[i].severity == SEVERITY_ERROR;
    if (errors)
        area_line(area, TONE_BAD, "faulty: %zu kind%s of fault", errors, errors == 1 ? "" : "s");
    else if (whole)
        area_line(area, TONE_GOOD, "%s", inspection_verdict(inspection));
    else
        area_line(area, TONE_QUIET, "no fault so far ...");
}

static void draw(struct app *app, struct area *area)
{
    const struct piece *piece = app_piece(app);
    if (!piece) {
        area_text(area, TONE_PLAIN, lane_free(&app->work) ? "nothing is open; type :open FILE" : "opening ...");
        return;
    }
    char text[TEXT_SIZE];
    area_line(area, TONE_PLAIN, "%s", piece->name);
    bool cloud = mesh_triangles(piece->mesh) == 0;
    text_count(cloud ? mesh_vertices(piece->mesh) : mesh_triangles(piece->mesh), text);
    area_pair(area, TONE_PLAIN, cloud ? "points" : "triangles", text);
    if (piece->format)
        area_pair(area, TONE_PLAIN, "format", piece->format->name);
    draw_unit(area, piece);
    draw_size(area, piece);
    draw_verdict(app, area, piece);
}

const struct panel panel_part = {"PART", draw};
