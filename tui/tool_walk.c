/* Walking from finding to finding: each place is brought before the eye and marked. */
#include <stdio.h>

#include "tui/acts.h"
#include "tui/app.h"
#include "tui/tools.h"

static const struct inspection *here(struct app *app)
{
    bool whole;
    const struct inspection *inspection = study_inspection(app, app_piece(app), &whole);
    if (!inspection)
        app_say(app, false, "the part is still being inspected");
    else if (inspection->finding_count == 0)
        app_say(app, false, whole ? "there is nothing to find fault with" : "no fault so far; still looking");
    return inspection && inspection->finding_count ? inspection : NULL;
}

/* The surface's normal at a place, in the middle of its triangle; zero where there is none. */
static struct vec normal_at(const struct mesh *mesh, const struct place *place)
{
    if (place->triangle >= mesh_triangles(mesh))
        return vec(0, 0, 0);
    const uint32_t *v = mesh_triangle(mesh)[place->triangle].v;
    struct vec p[3];
    for (int k = 0; k < 3; k++)
        p[k] = point_vec(mesh_point(mesh)[v[k]]);
    return vec_unit(vec_cross(vec_sub(p[1], p[0]), vec_sub(p[2], p[0])));
}

static void show(struct app *app, const struct inspection *inspection)
{
    const struct finding *finding = &inspection->finding[app->walk.finding];
    app->walk.on = true;
    app->stale = true;
    app_say(app, finding->severity == SEVERITY_ERROR, "%s: %s", finding->check->title, finding->text);
    if (app->walk.place >= finding->place_count)
        return; /* it is about the whole part */
    const struct place *place = &finding->places[app->walk.place];
    struct vec at = mesh_world(inspection->mesh, point_vec(place->at));
    view_look_at(app, at, normal_at(inspection->mesh, place), place->reach);
}

static void to_kind(struct app *app, const struct inspection *inspection, size_t finding, bool last)
{
    size_t places = inspection->finding[finding].place_count;
    app->walk.finding = finding;
    app->walk.place = last && places ? places - 1 : 0;
    show(app, inspection);
}

static void go(struct app *app, bool ahead, bool by_kind)
{
    const struct inspection *inspection = here(app);
    if (!inspection)
        return;
    size_t count = inspection->finding_count;
    struct walk *walk = &app->walk;
    if (!walk->on || walk->finding >= count) {
        to_kind(app, inspection, ahead ? 0 : count - 1, !ahead);
        return;
    }
    size_t places = inspection->finding[walk->finding].place_count;
    if (!by_kind && ahead && walk->place + 1 < places) {
        walk->place++;
        show(app, inspection);
    } else if (!by_kind && !ahead && walk->place > 0) {
        walk->place--;
        show(app, inspection);
    } else {
        size_t next = ahead ? walk->finding + 1 : walk->finding + count - 1;
        to_kind(app, inspection, next % count, !ahead && !by_kind);
    }
}

void act_next_finding(struct app *app) { go(app, true, false); }
void act_previous_finding(struct app *app) { go(app, false, false); }
void act_next_kind(struct app *app) { go(app, true, true); }
void act_previous_kind(struct app *app) { go(app, false, true); }

size_t tools_marks(struct app *app, struct raster_mark *mark, size_t most)
{
    size_t n = 0;
    bool whole;
    const struct inspection *inspection = study_inspection(app, app_piece(app), &whole);
    if (app->point_known && n < most)
        mark[n++] = (struct raster_mark){.at = app->picked, .glyph = '@', .chosen = true};
    if (!app->walk.on || !inspection || app->walk.finding >= inspection->finding_count)
        return n;
    const struct finding *finding = &inspection->finding[app->walk.finding];
    for (size_t i = 0; i < finding->place_count && n < most; i++) {
        /* the chosen one first, so that it is always among those drawn */
        size_t j = i == 0 ? app->walk.place : i <= app->walk.place ? i - 1 : i;
        if (j >= finding->place_count)
            continue;
        const struct place *place = &finding->places[j];
        mark[n++] = (struct raster_mark){.at = mesh_world(inspection->mesh, point_vec(place->at)),
                                         .reach = place->reach,
                                         .glyph = 'x',
                                         .chosen = j == app->walk.place};
    }
    return n;
}

void tools_line(struct app *app, char *text, size_t size)
{
    const struct plane_tool *plane = &app->plane;
    struct vec world;
    text[0] = '\0';
    if (app->where == WHERE_PLANE)
        snprintf(text, size, "%s through %.2f, %.2f, %.2f mm, normal %.2f, %.2f, %.2f: the pale side goes",
                 plane->op->name, plane->through.x, plane->through.y, plane->through.z,
                 plane->normal.x, plane->normal.y, plane->normal.z);
    else if (app->where == WHERE_POINT &&
             view_pick(app, app->point.column, app->point.row, NULL, NULL, &world))
        snprintf(text, size, "pointing at %.2f, %.2f, %.2f mm", world.x, world.y, world.z);
    else if (app->where == WHERE_POINT)
        snprintf(text, size, "pointing beside the part");
}
