/* Fewer triangles where the surface is flat or bends little.
 *
 * The net has a vertex in each cell, however flat the surface is there. Its edges are collapsed
 * (surface/decimate.h) as long as each new triangle, as a whole, is proved to be no farther off
 * than allowed (core/within.h), and none comes nearer: the new vertex goes away from the solid
 * until it lies above the planes of all triangles around the edge, so that the new ones lie on
 * their far side (cf. P. Sander, X. Gu, S. Gortler, H. Hoppe, J. Snyder, "Silhouette clipping",
 * 2000, section 3, where coarse hulls are made so). From there the way to the solid leads through
 * what was there before. Only what lies in these planes but for rounding is asked of the tree
 * (tree_clearance), and in the end all triangles are.
 *
 * Measured on a scan's replica of 14 648 triangles, 2.5 mm within it: 79 960 triangles became
 * 19 900 in 1.1 s of processor time; with each collapse asked of the tree, which leaves more room,
 * 16 400 in 2.7 s. */
#include <float.h>
#include <omp.h>

#include "core/job.h"
#include "core/topology.h"
#include "solid/offset_parts.h"
#include "surface/decimate.h"

enum {
    BLOCK = 256,
    STEPS_SPARE = 4 /* of single precision: decimation parts equal vertices by it */
};

static const double quick = 0.3; /* of what is allowed: a place farther from the planes around it,
                                    in the mean of squares, is hardly ever one */
static const double sure = 2e-3; /* of a tolerance: so near to it the proof may say no */
static const double steep = 0.2; /* cosine: what turns more from the others is not risen over */

struct thinning {
    const struct offsetting *o;
    uint32_t *near; /* one a vertex of the net: a triangle of the solid near it */
    double spare;   /* mm: places nearer to each other are one but for rounding */
    double beyond;  /* mm: how much farther off than the distance a triangle may be */
};

/* --- one collapse ---------------------------------------------------------------------------- */

/* The i-th of the triangles that are there now: those around, then the two that go. */
static void corners_now(const struct decimate_collapse *c, size_t i, struct vec corner[3])
{
    if (i < c->count) {
        corner[0] = c->from[i < c->split ? 0 : 1];
        corner[1] = c->side[i][0];
        corner[2] = c->side[i][1];
    } else {
        corner[0] = c->from[i - c->count];
        corner[1] = c->from[c->count + 1 - i];
        corner[2] = c->wing[i - c->count];
    }
}

static struct vec area_vector(const struct vec corner[3])
{
    return vec_cross(vec_sub(corner[1], corner[0]), vec_sub(corner[2], corner[0]));
}

/* Whether the place is so near to the planes around it that it is worth a closer look; which way
 * these face. */
static bool is_level(const struct thinning *t, const struct decimate_collapse *c, struct vec *up)
{
    double sum = 0, area = 0, reach = quick * t->beyond;
    *up = vec(0, 0, 0);
    for (size_t i = 0; i < c->count + 2; i++) {
        struct vec corner[3];
        corners_now(c, i, corner);
        struct vec n = area_vector(corner);
        double length = vec_length(n), off = vec_dot(n, vec_sub(c->at, corner[0]));
        *up = vec_add(*up, n);
        area += length;
        sum += length > 0 ? off * off / length : 0;
    }
    *up = vec_unit(*up);
    return sum <= reach * reach * area;
}

/* How far the place must go up to be above all planes around it; INFINITY: that is no way. */
static double rise_of(const struct decimate_collapse *c, struct vec up)
{
    double rise = 0;
    for (size_t i = 0; i < c->count + 2; i++) {
        struct vec corner[3];
        corners_now(c, i, corner);
        struct vec n = area_vector(corner);
        double length = vec_length(n), below = vec_dot(n, vec_sub(corner[0], c->at));
        if (below > 0 && !(vec_dot(n, up) > steep * length))
            return INFINITY;
        rise = below > 0 ? fmax(rise, below / vec_dot(n, up)) : rise;
    }
    return rise;
}

static bool is_near_enough(const struct thinning *t, const struct decimate_collapse *c,
                           uint32_t near)
{
    struct prover *prover = t->o->prover[omp_get_thread_num()];
    struct breach breach;
    bool within = true;
    for (size_t i = 0; i < c->count && within; i++) {
        const struct vec corner[3] = {c->at, c->side[i][0], c->side[i][1]};
        uint32_t guess = near;
        within = prover_within(prover, corner, t->o->field.by + t->beyond, &guess, &breach);
    }
    return within;
}

static bool is_far_enough(const struct thinning *t, const struct decimate_collapse *c)
{
    double need = offset_nearest(t->o->field.by) + t->spare;
    bool far = true;
    for (size_t i = 0; i < c->count && far; i++) {
        const struct vec corner[3] = {c->at, c->side[i][0], c->side[i][1]};
        far = tree_clearance(t->o->field.tree, corner, need) >= need;
    }
    return far;
}

static bool may_collapse(void *context, struct decimate_collapse *c)
{
    const struct thinning *t = context;
    struct vec up;
    if (job_cancelled(t->o->job) || !is_level(t, c, &up))
        return false;
    double rise = rise_of(c, up);
    if (!(rise < t->beyond))
        return false;
    if (rise > t->spare)
        c->at = point_vec(vec_point(vec_along(c->at, rise + t->spare, up)));
    struct field_at f = field_find(&t->o->field, c->at, t->near[c->stays]);
    t->near[c->stays] = f.triangle;
    return f.value <= t->beyond && is_near_enough(t, c, f.triangle) &&
           (rise_of(c, up) == 0 || is_far_enough(t, c));
}

/* --- all ------------------------------------------------------------------------------------- */

/* Whether no triangle is nearer than it may be. */
static enum status holds(const struct offsetting *o, const struct mesh *mesh, bool *all)
{
    size_t triangles = mesh_triangles(mesh), blocks = (triangles + BLOCK - 1) / BLOCK;
    bool far = true;
#pragma omp parallel for num_threads(job_threads(o->job)) schedule(dynamic, 1) reduction(&& : far)
    for (size_t b = 0; b < blocks; b++)
        for (size_t t = b * BLOCK; t < (b + 1) * BLOCK && t < triangles; t++) {
            struct vec corner[3];
            for (int k = 0; k < 3; k++)
                corner[k] = point_vec(mesh_point(mesh)[mesh_triangle(mesh)[t].v[k]]);
            if (!job_cancelled(o->job))
                far = far && offset_short_of(o, corner) <= 0;
        }
    *all = far;
    return job_cancelled(o->job) ? job_fail_cancelled(o->job) : STATUS_OK;
}

static enum status thin(struct offsetting *o, const struct thinning *t)
{
    const struct decimate_options options = {.may = may_collapse, .context = (void *)t};
    struct job_part whole = job_stage(o->job, 70);
    struct mesh *made = decimate(o->mesh, &options, o->job);
    job_part_end(o->job, whole);
    bool all = false;
    enum status status = made ? holds(o, made, &all) : job_status(o->job);
    if (status == STATUS_OK && all) {
        struct mesh *was = o->mesh;
        o->mesh = made;
        made = was;
    }
    mesh_free(made);
    return status;
}

/* One step of single precision at the net's largest coordinate, mm. */
static double step_of(const struct offsetting *o)
{
    float greatest = 0;
    for (size_t v = 0; v < o->net.vertices; v++) {
        const struct point p = o->net.at[v];
        greatest = fmaxf(greatest, fmaxf(fabsf(p.x), fmaxf(fabsf(p.y), fabsf(p.z))));
    }
    return (double)(FLT_EPSILON * greatest);
}

enum status offset_thin(struct offsetting *o)
{
    struct thinning t = {.o = o, .spare = STEPS_SPARE * step_of(o)};
    size_t vertices = o->net.vertices;
    t.beyond = fmin(o->thinned, o->allowed - sure * (o->field.by + o->allowed)) - t.spare;
    o->report->net = mesh_triangles(o->mesh);
    if (!mesh_triangles(o->mesh) || !(t.beyond > t.spare))
        return STATUS_OK;
    t.near = scratch_new(vertices, sizeof *t.near);
    if (!t.near)
        return job_fail_memory(o->job, vertices * sizeof *t.near);
    for (size_t v = 0; v < vertices; v++)
        t.near[v] = o->spot[v].near;
    enum status status = thin(o, &t);
    scratch_free(t.near);
    return status;
}
