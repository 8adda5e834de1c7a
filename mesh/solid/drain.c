#include "solid/drain.h"

#include <stdlib.h>

#include "core/job.h"

enum { TRIES_BAND = 40, TRIES_MOST = 600 };

static const double margin = 0.5;      /* mm, beyond the surface on either side: no film is left */
static const double band_share = 0.02; /* of the width: heights that differ by less are one */
static const double room_share = 0.5;  /* of the width: free behind the wall, at least */
static const double side_share = 0.5;  /* of the wall: material left beside the hole, at least */

/* --- one place ------------------------------------------------------------------------------- */

struct trial {
    const struct tree *tree; /* of the body */
    double wall, width;
};

static double radius_at(double depth, const void *context)
{
    (void)depth;
    return *(const double *)context;
}

/* Whether a hole there goes through the wall, once, and nowhere else; *out gets its depth. */
static bool goes_through(const struct trial *trial, struct drain *out)
{
    double radius = trial->width / 2;
    struct footing *f = &out->footing;
    struct footing_far far = footing_far(trial->tree, f, (struct footprint){radius, 0});
    double room = far.next - far.deep;
    if (f->hanging > 0 || !(far.deep < INFINITY) || !(room > room_share * trial->width) ||
        far.deep - far.shallow > trial->width + trial->wall)
        return false;
    struct footing_far wide =
        footing_far(trial->tree, f, (struct footprint){radius + trial->wall, 0});
    double first = fmax(f->behind, wide.in) + 0.01 * radius;
    double last = fmin(far.shallow, wide.shallow) - 0.01 * radius;
    if (footing_side(trial->tree, f, 0, first, last, radius_at, &radius) < side_share * trial->wall)
        return false;
    out->bore = (struct bore){.diameter = trial->width,
                              .head = BORE_NONE,
                              .above = f->before + margin,
                              .depth = far.deep + fmin(margin, room / 2)};
    out->middle = (f->behind + far.shallow) / 2;
    return true;
}

/* The hole from the outside to a place in a cavity, as near as can be. */
static enum status try_place(const struct trial *trial, const struct cavity *cavity, uint32_t v,
                             struct drain *out, bool *fits, struct job *job)
{
    const struct tree *outside = mesh_tree(cavity->outside, job);
    if (!outside)
        return job_status(job);
    struct vec in = mesh_world(cavity->body, point_vec(mesh_point(cavity->body)[v]));
    struct nearest near = tree_nearest(outside, mesh_local(cavity->outside, in), INFINITY);
    struct vec at = mesh_world(cavity->outside, near.point), along = vec_sub(in, at);
    struct footprint print = {trial->width / 2, 0};
    enum status status =
        footing_find(cavity->body, at, &along, vec(0, 0, 1), print, &out->footing, job);
    *fits = status == STATUS_OK && goes_through(trial, out);
    if (status == STATUS_REFUSED) {
        job_forgive(job);
        return STATUS_OK;
    }
    return status;
}

/* --- the lowest place ------------------------------------------------------------------------ */

struct candidate {
    double height; /* from the end in question */
    double off2;   /* from the middle of those about as low */
    uint32_t vertex;
};

static int by_height(const void *x, const void *y)
{
    const struct candidate *a = x, *b = y;
    if (a->height != b->height)
        return a->height < b->height ? -1 : 1;
    return (a->vertex > b->vertex) - (a->vertex < b->vertex);
}

static int by_middle(const void *x, const void *y)
{
    const struct candidate *a = x, *b = y;
    if (a->off2 != b->off2)
        return a->off2 < b->off2 ? -1 : 1;
    return (a->vertex > b->vertex) - (a->vertex < b->vertex);
}

static void list(const struct cavity *cavity, bool top, struct candidate *out)
{
    for (size_t i = 0; i < cavity->vertices; i++) {
        double z = (double)mesh_point(cavity->body)[cavity->vertex[i]].z;
        out[i] = (struct candidate){.height = top ? -z : z, .vertex = cavity->vertex[i]};
    }
    qsort(out, cavity->vertices, sizeof *out, by_height);
}

/* Orders those about as low by how near they are to their middle. */
static void order_band(const struct cavity *cavity, struct candidate *band, size_t count)
{
    struct vec middle = vec(0, 0, 0);
    const struct point *point = mesh_point(cavity->body);
    for (size_t i = 0; i < count; i++)
        middle = vec_along(middle, 1.0 / (double)count, point_vec(point[band[i].vertex]));
    for (size_t i = 0; i < count; i++)
        band[i].off2 = vec_length2(vec_sub(point_vec(point[band[i].vertex]), middle));
    qsort(band, count, sizeof *band, by_middle);
}

static enum status search(const struct trial *trial, const struct cavity *cavity,
                          struct candidate *all, struct drain *out, bool *found, struct job *job)
{
    int tries = 0;
    for (size_t from = 0, end; from < cavity->vertices && tries < TRIES_MOST; from = end) {
        double most = all[from].height + band_share * trial->width;
        for (end = from; end < cavity->vertices && all[end].height <= most;)
            end++;
        order_band(cavity, all + from, end - from);
        size_t step = (end - from) / TRIES_BAND + 1;
        for (size_t i = from; i < end; i += step, tries++) {
            enum status status = try_place(trial, cavity, all[i].vertex, out, found, job);
            if (job_cancelled(job))
                return job_fail_cancelled(job);
            if (status != STATUS_OK || *found)
                return status;
        }
    }
    return STATUS_OK;
}

enum status drain_choose(const struct cavity *cavity, bool top, double wall, double width,
                         struct drain *out, bool *found, struct job *job)
{
    struct trial trial = {mesh_tree(cavity->body, job), wall, width};
    *found = false;
    if (!trial.tree)
        return job_status(job);
    struct candidate *all = scratch_new(cavity->vertices, sizeof *all);
    if (!all)
        return job_fail_memory(job, cavity->vertices * sizeof *all);
    list(cavity, top, all);
    enum status status = search(&trial, cavity, all, out, found, job);
    scratch_free(all);
    return status;
}

/* --- a given place --------------------------------------------------------------------------- */

enum status drain_at(const struct mesh *body, const struct mesh *outside, struct vec at,
                     double wall, double width, struct drain *out, struct job *job)
{
    const struct tree *tree = mesh_tree(outside, job);
    struct trial trial = {tree ? mesh_tree(body, job) : NULL, wall, width};
    if (!trial.tree)
        return job_status(job);
    struct nearest near = tree_nearest(tree, mesh_local(outside, at), INFINITY);
    struct vec on = mesh_world(outside, near.point);
    enum status status = footing_find(body, on, NULL, vec(0, 0, 1),
                                      (struct footprint){width / 2, 0}, &out->footing, job);
    if (status == STATUS_OK && !goes_through(&trial, out))
        status = job_fail(job, STATUS_REFUSED,
                          "no hole of %.4g mm goes into a cavity at %.5g, %.5g, %.5g: the wall is "
                          "thick, narrow or uneven there; choose another place or a smaller drain=",
                          width, on.x, on.y, on.z);
    return status;
}
