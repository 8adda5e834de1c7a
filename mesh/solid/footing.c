#include "solid/footing.h"

#include "core/job.h"

static const double pi = 3.14159265358979323846;

enum { RINGS = 3, AROUND = 24, STOPS = 5, DEPTHS = 24, DEPTHS_MOST = 1000, TURNS = 3 };
static const double finest = 0.5; /* mm: what lies beside a tool is looked for at every so much of
                                     its depth, or more often */

/* --- rays across the place ------------------------------------------------------------------- */

struct probe { /* all local to the mesh */
    const struct tree *tree;
    struct vec at, along, up, side;
};

static struct probe probe_of(const struct tree *tree, const struct footing *f)
{
    const struct cutter_place *p = &f->place;
    return (struct probe){
        tree, vec(p->at.x - p->origin[0], p->at.y - p->origin[1], p->at.z - p->origin[2]), p->along,
        p->up, vec_cross(p->up, p->along)};
}

static struct vec across(const struct probe *p, double x, double y)
{
    return vec_along(vec_scale(p->side, x), y, p->up);
}

/* The depth at which the line x, y beside the axis meets the surface first, after one depth and up
 * to another; INFINITY: nowhere. */
static double meets(const struct probe *p, double x, double y, double after, double before)
{
    struct vec from = vec_add(vec_along(p->at, after, p->along), across(p, x, y));
    struct hit hit = tree_ray(p->tree, from, p->along, 0, before - after);
    return hit.triangle == NO_INDEX ? INFINITY : after + hit.t;
}

static int stops(double up)
{
    return up > 0 ? STOPS : 1;
}
static double stop(double up, int i)
{
    return up > 0 ? up * i / (STOPS - 1) : 0;
}

/* --- the plane of the surface ------------------------------------------------------------------
 */

struct plane_sums {
    double n, x, y, h, xx, xy, yy, xh, yh;
};

struct heights {                   /* of the surface in the footprint, as depths */
    double a, b, mean;             /* depth = a x + b y + c; mean: of all depths */
    double least, most, low, high; /* depths; and depths less those of the plane */
    int met, all;
};

static void count(struct plane_sums *s, double x, double y, double h)
{
    s->n++;
    s->x += x, s->y += y, s->h += h;
    s->xx += x * x, s->xy += x * y, s->yy += y * y;
    s->xh += x * h, s->yh += y * h;
}

/* Least squares about the mean; false: the places are in a row. */
static bool solve(const struct plane_sums *s, double *a, double *b)
{
    double xx = s->xx - s->x * s->x / s->n, yy = s->yy - s->y * s->y / s->n;
    double xy = s->xy - s->x * s->y / s->n;
    double xh = s->xh - s->x * s->h / s->n, yh = s->yh - s->y * s->h / s->n;
    double det = xx * yy - xy * xy;
    if (!(det > 1e-6 * xx * yy))
        return false;
    *a = (xh * yy - yh * xy) / det;
    *b = (yh * xx - xh * xy) / det;
    return true;
}

enum { PLACES = 1 + RINGS * AROUND };

static void place_in(struct footprint print, int i, int k, double *x, double *y)
{
    double r = k == 0 ? 0 : print.radius * ((k - 1) / AROUND + 1) / RINGS;
    *x = r * cos(2 * pi * (k - 1) / AROUND);
    *y = stop(print.up, i) + r * sin(2 * pi * (k - 1) / AROUND);
}

/* Surface farther from the plane than the footprint is wide does not belong to it. */
static bool look(const struct probe *p, struct footprint print, struct heights *out)
{
    double depth[STOPS][PLACES], reach = print.radius + print.up;
    struct plane_sums sums = {0};
    *out =
        (struct heights){.least = INFINITY, .most = -INFINITY, .low = INFINITY, .high = -INFINITY};
    for (int i = 0; i < stops(print.up); i++)
        for (int k = 0; k < PLACES; k++) {
            double x, y;
            place_in(print, i, k, &x, &y);
            depth[i][k] = meets(p, x, y, -reach, reach);
            out->all++;
            if (depth[i][k] < INFINITY)
                count(&sums, x, y, depth[i][k]);
        }
    out->met = (int)sums.n;
    if (out->met < 3 || !solve(&sums, &out->a, &out->b))
        return false;
    out->mean = sums.h / sums.n;
    for (int i = 0; i < stops(print.up); i++)
        for (int k = 0; k < PLACES; k++) {
            double x, y, d = depth[i][k];
            if (d == INFINITY)
                continue;
            place_in(print, i, k, &x, &y);
            double off =
                d - out->mean - out->a * (x - sums.x / sums.n) - out->b * (y - sums.y / sums.n);
            out->least = fmin(out->least, d);
            out->most = fmax(out->most, d);
            out->low = fmin(out->low, off);
            out->high = fmax(out->high, off);
        }
    return true;
}

/* --- the footing ------------------------------------------------------------------------------ */

static void set_frame(struct probe *p, struct vec along, struct vec up)
{
    p->along = along;
    p->up = vec_unit(vec_along(up, -vec_dot(up, along), along));
    if (!(vec_length(vec_along(up, -vec_dot(up, along), along)) > 1e-3 * vec_length(up)))
        vec_frame(along, &p->up, &p->side);
    p->side = vec_cross(p->up, p->along);
}

static enum status no_surface(struct job *job)
{
    return job_fail(job, STATUS_REFUSED,
                    "there is too little surface around that point; give a place farther from the "
                    "edge");
}

static void fill_in(const struct mesh *mesh, const struct probe *p, const struct heights *h,
                    struct footing *out)
{
    *out = (struct footing){.place = {.along = p->along, .up = p->up},
                            .before = fmax(0, h->mean - h->least),
                            .behind = fmax(0, h->most - h->mean),
                            .uneven = h->high - h->low,
                            .tilt = atan(hypot(h->a, h->b)) * 180 / pi,
                            .hanging = 1 - (double)h->met / h->all};
    out->place.at = mesh_world(mesh, vec_along(p->at, h->mean, p->along));
    for (int k = 0; k < 3; k++)
        out->place.origin[k] = mesh->origin[k];
}

/* Where the line `into` through `at` meets the surface, if that is within reach; else its nearest
 * point. */
static struct vec on_surface(const struct tree *tree, struct vec at, struct vec into, double reach,
                             struct vec nearest)
{
    struct hit on = tree_ray(tree, at, into, -1e-6 * reach, reach);
    struct hit back = tree_ray(tree, at, vec_scale(into, -1), 0, reach);
    bool hits = on.triangle != NO_INDEX, returns = back.triangle != NO_INDEX;
    if (hits && !(returns && back.t < on.t))
        return vec_along(at, on.t, into);
    return returns ? vec_along(at, -back.t, into) : nearest;
}

enum status footing_find(const struct mesh *mesh, struct vec at, const struct vec *along,
                         struct vec up, struct footprint footprint, struct footing *out,
                         struct job *job)
{
    const struct tree *tree = mesh_tree(mesh, job);
    if (!tree)
        return job_status(job);
    struct nearest near = tree_nearest(tree, mesh_local(mesh, at), INFINITY);
    if (near.triangle == NO_INDEX || mesh_triangles(mesh) == 0)
        return no_surface(job);
    struct vec into = along ? vec_unit(*along) : vec_scale(tree_normal(tree, &near), -1);
    if (vec_length2(into) == 0)
        return no_surface(job);
    struct probe p = {.tree = tree, .at = near.point};
    struct heights h;
    if (along)
        p.at = on_surface(tree, mesh_local(mesh, at), into, footprint.radius + footprint.up, p.at);
    set_frame(&p, into, up);
    for (int i = 0; i < TURNS && !along; i++) {
        if (!look(&p, footprint, &h))
            return no_surface(job);
        struct vec out_of = vec_add(across(&p, h.a, h.b), vec_scale(p.along, -1));
        set_frame(&p, vec_scale(vec_unit(out_of), -1), up);
    }
    if (!look(&p, footprint, &h))
        return no_surface(job);
    fill_in(mesh, &p, &h, out);
    return STATUS_OK;
}

/* --- the material ----------------------------------------------------------------------------- */

struct footing_far footing_far(const struct tree *tree, const struct footing *footing,
                               struct footprint print)
{
    struct probe p = probe_of(tree, footing);
    struct footing_far far = {-INFINITY, INFINITY, -INFINITY, INFINITY};
    double start = -footing->before - print.radius;
    for (int i = 0; i < stops(print.up); i++)
        for (int k = 0; k < PLACES; k++) {
            double x, y, grain = 1e-5 * print.radius;
            place_in(print, i, k, &x, &y);
            double in = meets(&p, x, y, start, footing->behind + print.radius);
            if (in == INFINITY)
                continue;
            double leaves = meets(&p, x, y, in + grain, INFINITY);
            far.in = fmax(far.in, in);
            far.shallow = fmin(far.shallow, leaves);
            far.deep = fmax(far.deep, leaves);
            if (leaves < INFINITY)
                far.next = fmin(far.next, meets(&p, x, y, leaves + grain, INFINITY));
        }
    if (far.in == -INFINITY)
        far = (struct footing_far){footing->behind, INFINITY, INFINITY, INFINITY};
    return far;
}

double footing_side(const struct tree *tree, const struct footing *footing, double up, double first,
                    double last, double (*radius)(double depth, const void *context),
                    const void *context)
{
    struct probe p = probe_of(tree, footing);
    double thinnest = INFINITY;
    if (first > last)
        first = last = (first + last) / 2;
    int depths = (int)fmin(fmax(DEPTHS, ceil((last - first) / finest)), DEPTHS_MOST);
    for (int i = 0; i < stops(up); i++)
        for (int d = 0; d <= depths; d++) {
            double depth = first + (last - first) * d / depths, r = radius(depth, context);
            struct vec from = vec_along(vec_along(p.at, depth, p.along), stop(up, i), p.up);
            for (int k = 0; k < 2 * AROUND; k++) {
                double turn = pi * k / AROUND;
                struct hit hit =
                    tree_ray(tree, from, across(&p, cos(turn), sin(turn)), 0, INFINITY);
                if (hit.triangle != NO_INDEX)
                    thinnest = fmin(thinnest, hit.t - r);
            }
        }
    return thinnest;
}

double footing_width(const struct tree *tree, const struct footing *footing, double depth,
                     uint32_t facets)
{
    struct probe p = probe_of(tree, footing);
    struct vec from = vec_along(p.at, depth, p.along);
    double narrow = INFINITY;
    for (uint32_t i = 0; i < facets / 2; i++) {
        double turn = 2 * pi * i / facets;
        struct vec way = across(&p, cos(turn), sin(turn));
        struct hit one = tree_ray(tree, from, way, 0, INFINITY);
        struct hit other = tree_ray(tree, from, vec_scale(way, -1), 0, INFINITY);
        if (one.triangle == NO_INDEX || other.triangle == NO_INDEX)
            return 0;
        narrow = fmin(narrow, one.t + other.t);
    }
    return narrow < INFINITY ? narrow : 0;
}
