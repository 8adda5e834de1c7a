#include "solid/drain.h"

#include <stdlib.h>
#include <string.h>

#include "core/job.h"

enum { TRIES_BAND = 40, TRIES_MOST = 600, PLACES_SOME = 100000 };

static const double margin = 0.5;      /* mm, beyond the surface on either side: no film is left */
static const double band_share = 0.02; /* of the width: heights that differ by less are one */
static const double room_share = 0.5;  /* of the width: free behind the wall, at least */
static const double apart_share =
    0.2;                              /* of the width: so near to each other are places looked at */
static const double side_share = 0.5; /* of the wall: material left beside the hole, at least */

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
static enum status try_place(const struct trial *trial, const struct cavity *cavity,
                             struct vec place, struct drain *out, bool *fits, struct job *job)
{
    const struct tree *outside = mesh_tree(cavity->outside, job);
    if (!outside)
        return job_status(job);
    struct vec in = mesh_world(cavity->body, place);
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

/* --- places ---------------------------------------------------------------------------------- */

struct candidate {
    double height;   /* from the end in question */
    double off2;     /* from the middle of those about as low */
    struct vec at;   /* local */
    uint32_t number; /* as listed */
};

struct places { /* of a cavity: its vertices, and others between them, as near to each other */
    const struct mesh *body;
    double apart;          /* mm; */
    double sign;           /* of heights: -1 from the top */
    struct candidate *all; /* NULL: they are counted only */
    size_t count;
};

static void add_place(struct places *p, struct vec at)
{
    if (p->all)
        p->all[p->count] = (struct candidate){p->sign * at.z, 0, at, (uint32_t)p->count};
    p->count++;
}

static size_t parts_of(const struct places *p, struct vec a, struct vec b)
{
    return 1 + (size_t)(vec_length(vec_sub(b, a)) / p->apart);
}

/* In rows along the longest edge; the corners are there already. */
static void add_between(struct places *p, const uint32_t v[3])
{
    struct vec c[3];
    int k = 0;
    for (int i = 0; i < 3; i++)
        c[i] = point_vec(mesh_point(p->body)[v[i]]);
    for (int i = 1; i < 3; i++)
        if (vec_length2(vec_sub(c[(i + 1) % 3], c[i])) > vec_length2(vec_sub(c[(k + 1) % 3], c[k])))
            k = i;
    struct vec a = c[k], b = c[(k + 1) % 3], o = c[(k + 2) % 3], along = vec_sub(b, a);
    double length2 = vec_length2(along);
    double foot = length2 > 0 ? vec_dot(vec_sub(o, a), along) / length2 : 0;
    size_t rows = parts_of(p, vec_along(a, foot, along), o);
    for (size_t r = 0; r < rows; r++) {
        double t = (double)r / (double)rows;
        struct vec from = vec_along(a, t, vec_sub(o, a)), to = vec_along(b, t, vec_sub(o, b));
        size_t parts = parts_of(p, from, to);
        for (size_t i = r ? 0 : 1; i < parts; i++)
            add_place(p, vec_along(from, (double)i / (double)parts, vec_sub(to, from)));
    }
}

/* Those of the vertices, and of the triangles all of whose corners are among them (is[]). */
static void add_all(struct places *p, const struct cavity *cavity, const uint8_t *is)
{
    p->count = 0;
    for (size_t i = 0; i < cavity->vertices; i++)
        add_place(p, point_vec(mesh_point(p->body)[cavity->vertex[i]]));
    for (size_t t = 0; t < mesh_triangles(p->body); t++) {
        const uint32_t *v = mesh_triangle(p->body)[t].v;
        if (is[v[0]] && is[v[1]] && is[v[2]])
            add_between(p, v);
    }
}

static double area_of(const struct mesh *body, const uint8_t *is)
{
    double area = 0;
    const struct point *at = mesh_point(body);
    for (size_t t = 0; t < mesh_triangles(body); t++) {
        const uint32_t *v = mesh_triangle(body)[t].v;
        struct vec a = point_vec(at[v[0]]);
        if (is[v[0]] && is[v[1]] && is[v[2]])
            area += vec_length(vec_cross(vec_sub(point_vec(at[v[1]]), a),
                                         vec_sub(point_vec(at[v[2]]), a))) /
                    2;
    }
    return area;
}

/* p->all is scratch; NULL: out of memory. */
static void list(struct places *p, const struct cavity *cavity, bool top, double width)
{
    size_t vertices = mesh_vertices(cavity->body);
    uint8_t *is = scratch_new(vertices, 1);
    *p = (struct places){.body = cavity->body, .sign = top ? -1 : 1};
    if (!is)
        return;
    memset(is, 0, vertices);
    for (size_t i = 0; i < cavity->vertices; i++)
        is[cavity->vertex[i]] = 1;
    p->apart = fmax(apart_share * width, sqrt(area_of(p->body, is) / PLACES_SOME));
    add_all(p, cavity, is);
    p->all = scratch_new(p->count, sizeof *p->all);
    if (p->all)
        add_all(p, cavity, is);
    scratch_free(is);
}

/* --- the lowest place ------------------------------------------------------------------------ */

static int by_height(const void *x, const void *y)
{
    const struct candidate *a = x, *b = y;
    if (a->height != b->height)
        return a->height < b->height ? -1 : 1;
    return (a->number > b->number) - (a->number < b->number);
}

static int by_middle(const void *x, const void *y)
{
    const struct candidate *a = x, *b = y;
    if (a->off2 != b->off2)
        return a->off2 < b->off2 ? -1 : 1;
    return (a->number > b->number) - (a->number < b->number);
}

/* Orders those about as low by how near they are to their middle. */
static void order_band(struct candidate *band, size_t count)
{
    struct vec middle = vec(0, 0, 0);
    for (size_t i = 0; i < count; i++)
        middle = vec_along(middle, 1.0 / (double)count, band[i].at);
    for (size_t i = 0; i < count; i++)
        band[i].off2 = vec_length2(vec_sub(band[i].at, middle));
    qsort(band, count, sizeof *band, by_middle);
}

static enum status search(const struct trial *trial, const struct cavity *cavity,
                          const struct places *places, struct drain *out, bool *found,
                          struct job *job)
{
    struct candidate *all = places->all;
    int tries = 0;
    for (size_t from = 0, end; from < places->count && tries < TRIES_MOST; from = end) {
        double most = all[from].height + band_share * trial->width;
        for (end = from; end < places->count && all[end].height <= most;)
            end++;
        order_band(all + from, end - from);
        size_t step = (end - from) / TRIES_BAND + 1;
        for (size_t i = from; i < end; i += step, tries++) {
            enum status status = try_place(trial, cavity, all[i].at, out, found, job);
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
    struct places places;
    *found = false;
    if (!trial.tree)
        return job_status(job);
    list(&places, cavity, top, width);
    if (!places.all)
        return job_fail_memory(job, (places.count + 1) * sizeof *places.all);
    qsort(places.all, places.count, sizeof *places.all, by_height);
    enum status status = search(&trial, cavity, &places, out, found, job);
    scratch_free(places.all);
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
