/* Placing the cutting plane. What goes is drawn pale before it goes. */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "core/topology.h"
#include "tui/acts.h"
#include "tui/app.h"
#include "tui/tools.h"

static const double tilt = 5 * 3.14159265358979323846 / 180; /* a key's step */

/* The box around what is worked on; false: there is nothing. */
static bool box_of_work(const struct app *app, struct vec *min, struct vec *max)
{
    const struct mesh *mesh[PIECES_MOST];
    struct job alone = {.threads = 1};
    size_t n = 0;
    for (size_t i = 0; i < app->scene->count && n < PIECES_MOST; i++)
        if (app_works_on(app, i))
            mesh[n++] = app->scene->piece[i]->mesh;
    return n && meshes_box(mesh, n, min, max, &alone) == STATUS_OK && min->x <= max->x;
}

/* Whether the plane passes through the box: it may have been placed for another piece, or for where
 * this one was. */
static bool passes(const struct plane_tool *plane, struct vec middle, struct vec half)
{
    struct vec n = plane->normal;
    double reach = fabs(n.x) * half.x + fabs(n.y) * half.y + fabs(n.z) * half.z;
    return fabs(vec_dot(n, vec_sub(middle, plane->through))) < reach;
}

void plane_begin(struct app *app, const struct op *op)
{
    struct vec min, max;
    if (!box_of_work(app, &min, &max)) {
        app_say(app, true, "nothing is open; there is nothing to cut");
        return;
    }
    struct vec middle = vec_scale(vec_add(min, max), 0.5);
    if (vec_length2(app->plane.normal) == 0)
        app->plane.normal = vec(0, 0, 1);
    if (!passes(&app->plane, middle, vec_sub(max, middle)))
        app->plane.through = middle;
    app->plane.op = op;
    preview_set(app, NULL);
    app->where = WHERE_PLANE;
    app->arrows_other = false;
    view_touch(app);
}

static struct vec turned(struct vec a, struct vec axis, double angle) /* Rodrigues */
{
    double c = cos(angle), s = sin(angle);
    struct vec along = vec_scale(axis, vec_dot(axis, a) * (1 - c));
    return vec_add(vec_along(vec_scale(a, c), s, vec_cross(axis, a)), along);
}

/* Five-degree steps that have come back to an axis lie on it, without a last bit or a minus
 * zero. */
static struct vec clean(struct vec a)
{
    return vec(fabs(a.x) < 1e-12 ? 0 : a.x, fabs(a.y) < 1e-12 ? 0 : a.y,
               fabs(a.z) < 1e-12 ? 0 : a.z);
}

static void tilt_plane(struct app *app, double right, double up)
{
    struct vec x, y, z;
    camera_axes(&app->view.camera, &x, &y, &z);
    struct vec n = turned(app->plane.normal, y, right * tilt);
    app->plane.normal = clean(vec_unit(turned(n, x, -up * tilt)));
    view_touch(app);
}

static void shift_plane(struct app *app, double share)
{
    app->plane.through = vec_along(app->plane.through, share * view_extent(app), app->plane.normal);
    view_touch(app);
}

static void set_plane(struct app *app, struct vec normal)
{
    app->plane.normal = normal;
    view_touch(app);
}

/* A table of keys. */
/* clang-format off */
void act_plane_left(struct app *app) { tilt_plane(app, -1, 0); }
void act_plane_right(struct app *app) { tilt_plane(app, 1, 0); }
void act_plane_up(struct app *app) { tilt_plane(app, 0, 1); }
void act_plane_down(struct app *app) { tilt_plane(app, 0, -1); }
void act_plane_x(struct app *app) { set_plane(app, vec(1, 0, 0)); }
void act_plane_y(struct app *app) { set_plane(app, vec(0, 1, 0)); }
void act_plane_z(struct app *app) { set_plane(app, vec(0, 0, 1)); }
void act_plane_ahead(struct app *app) { shift_plane(app, 0.01); }
void act_plane_back(struct app *app) { shift_plane(app, -0.01); }
void act_plane_ahead_fine(struct app *app) { shift_plane(app, 0.001); }
void act_plane_back_fine(struct app *app) { shift_plane(app, -0.001); }
void act_plane_flip(struct app *app) { set_plane(app, clean(vec_scale(app->plane.normal, -1))); }
/* clang-format on */

/* The operation as a command; the point is rounded to a micrometre so that the journal reads
 * well. */
static void plane_command(const struct app *app, char *text, size_t size)
{
    struct vec p = app->plane.through, n = app->plane.normal;
    snprintf(text, size, "%s through=%.3f,%.3f,%.3f normal=%.6g,%.6g,%.6g", app->plane.op->name,
             p.x, p.y, p.z, n.x, n.y, n.z);
}

static void cut(struct app *app, const char *how)
{
    char line[256];
    plane_command(app, line, sizeof line);
    strncat(line, how, sizeof line - strlen(line) - 1);
    app->where = WHERE_LOOK;
    view_touch(app);
    app_run(app, line);
}

void act_plane_cut(struct app *app)
{
    cut(app, "");
}

void act_plane_open(struct app *app)
{
    cut(app, " cap=no");
}

void act_plane_edit(struct app *app)
{
    char line[256];
    plane_command(app, line, sizeof line);
    app->where = WHERE_LOOK;
    view_touch(app);
    prompt_open(&app->prompt, line);
}

void act_plane_through(struct app *app)
{
    act_point(app);
    app->point.back = WHERE_PLANE;
}
