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
        snprintf(text[k], sizeof text[k], "%.*f",
                 l >= 1000  ? 0
                 : l >= 100 ? 1
                 : l >= 10  ? 2
                            : 3,
                 side[k]);
    }
    area_line(area, tone, "%s x %s x %s %s", text[0], text[1], text[2], unit);
}

static void draw_size(struct area *area, struct vec size)
{
    draw_sides(area, TONE_PLAIN, size, "mm");
    draw_sides(area, TONE_QUIET, vec_scale(size, 1 / 25.4), "in");
}

static void draw_unit(struct area *area, const struct piece *piece)
{
    static const char *const source[] = {"as given", "from the file", "assumed"};
    if (piece->unit == UNIT_NONE)
        return;
    bool assumed = piece->unit_source == UNIT_ASSUMED;
    char text[64];
    snprintf(text, sizeof text, "%s, %s", unit_name(piece->unit), source[piece->unit_source]);
    area_pair(area, assumed ? TONE_WARN : TONE_PLAIN, "unit", text);
}

static size_t faults(const struct inspection *inspection)
{
    size_t errors = 0;
    for (size_t i = 0; i < inspection->finding_count; i++)
        errors += inspection->finding[i].severity == SEVERITY_ERROR;
    return errors;
}

static void draw_verdict(struct app *app, struct area *area, const struct piece *piece)
{
    bool whole;
    const struct inspection *inspection = study_inspection(app, piece, &whole);
    size_t errors = inspection ? faults(inspection) : 0;
    if (!inspection)
        area_line(area, TONE_QUIET, study_failed(app, piece) ? "not inspected" : "inspecting ...");
    else if (errors)
        area_line(area, TONE_BAD, "faulty: %zu kind%s of fault", errors, errors == 1 ? "" : "s");
    else if (!whole)
        area_line(area, TONE_QUIET,
                  study_failed(app, piece) ? "not inspected to the end" : "no fault so far ...");
    else if (mesh_triangles(piece->mesh) == 0) /* sound as a cloud, but nothing to print */
        area_line(area, TONE_WARN, "points only, no surface");
    else
        area_line(area, TONE_GOOD, "%s", inspection_verdict(inspection));
}

static void draw_piece(struct app *app, struct area *area, const struct piece *piece)
{
    static const char *const colour[] = {NULL, "by vertex", "by face", "in a texture"};
    char text[TEXT_SIZE];
    area_line(area, TONE_PLAIN, "%s%s%s", piece->name, piece->hidden ? " (hidden)" : "",
              piece->locked ? " (locked)" : "");
    bool cloud = mesh_triangles(piece->mesh) == 0;
    text_count(cloud ? mesh_vertices(piece->mesh) : mesh_triangles(piece->mesh), text);
    area_pair(area, TONE_PLAIN, cloud ? "points" : "triangles", text);
    if (piece->format)
        area_pair(area, TONE_PLAIN, "format", piece->format->name);
    if (colour[piece->colour])
        area_pair(area, TONE_PLAIN, "colour", colour[piece->colour]);
    draw_unit(area, piece);
    const struct bounds *bounds = mesh_bounds(piece->mesh, NULL);
    if (bounds)
        draw_size(area, bounds->size);
    draw_verdict(app, area, piece);
}

/* --- several pieces at once: their sums ----------------------------------------------------- */

static void draw_verdicts(struct app *app, struct area *area)
{
    size_t faulty = 0, unknown = 0, clouds = 0, pieces = app_pieces(app);
    for (size_t i = 0; i < app->scene->count; i++) {
        bool whole;
        clouds += app_works_on(app, i) && mesh_triangles(app->scene->piece[i]->mesh) == 0;
        const struct inspection *inspection =
            app_works_on(app, i) ? study_inspection(app, app->scene->piece[i], &whole) : NULL;
        bool bad = inspection && faults(inspection);
        faulty += bad;
        unknown += app_works_on(app, i) && !bad && !(inspection && whole);
    }
    if (faulty)
        area_line(area, TONE_BAD, "faulty: %zu of %zu pieces", faulty, pieces);
    else if (unknown)
        area_line(area, TONE_QUIET, "inspecting %zu piece%s ...", unknown, unknown == 1 ? "" : "s");
    else if (clouds == pieces)
        area_line(area, TONE_WARN, "points only, no surface");
    else if (clouds)
        area_line(area, TONE_WARN, "points only: %zu of %zu pieces", clouds, pieces);
    else
        area_line(area, TONE_GOOD, "each of them sound");
}

static void draw_sums(struct app *app, struct area *area)
{
    size_t triangles = 0, points = 0;
    char text[TEXT_SIZE];
    struct vec min, max;
    for (size_t i = 0; i < app->scene->count; i++) {
        const struct mesh *mesh = app->scene->piece[i]->mesh;
        if (!app_works_on(app, i))
            continue;
        triangles += mesh_triangles(mesh);
        points += mesh_triangles(mesh) ? 0 : mesh_vertices(mesh);
    }
    area_line(area, TONE_PLAIN, "%zu pieces together", app_pieces(app));
    text_count(triangles, text);
    if (triangles)
        area_pair(area, TONE_PLAIN, "triangles", text);
    text_count(points, text);
    if (points)
        area_pair(area, TONE_PLAIN, "points", text);
    if (view_box(app, &min, &max))
        draw_size(area, vec_sub(max, min));
    draw_verdicts(app, area);
    area_text(area, TONE_QUIET, "Tab: one by one");
}

static void draw(struct app *app, struct area *area)
{
    const struct piece *piece = app_piece(app);
    if (app_pieces(app) > 1)
        draw_sums(app, area);
    else if (piece)
        draw_piece(app, area, piece);
    else if (app->scene->count)
        area_text(area, TONE_PLAIN, "every piece is hidden; :show piece=1 brings one back");
    else
        area_text(area, TONE_PLAIN,
                  lane_free(&app->work) ? "nothing is open; type :open FILE" : "opening ...");
}

const struct panel panel_part = {"PART", draw};
