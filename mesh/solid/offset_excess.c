/* Where the surface is farther off than it should be. */
#include "core/job.h"
#include "solid/offset_parts.h"

enum { BLOCK = 256 };

static const double far = 4; /* so many times what is allowed is not mended by half the length */

static struct vec middle_of(const struct offsetting *o, uint32_t v, uint32_t w)
{
    return vec_scale(vec_add(point_vec(o->net.at[v]), point_vec(o->net.at[w])), 0.5);
}

/* How far the surface is bent between two vertices, mm, about: a quarter of the way from one to the
 * other times the angle between the ways up; INFINITY when one lies on a crease. */
static double bend_between(const struct offsetting *o, uint32_t v, uint32_t w)
{
    struct vec up = point_vec(o->spot[v].up), other = point_vec(o->spot[w].up);
    struct vec way = vec_sub(point_vec(o->net.at[w]), point_vec(o->net.at[v]));
    if (vec_length2(up) == 0 || vec_length2(other) == 0)
        return INFINITY;
    return sqrt(vec_length2(way) * vec_length2(vec_sub(up, other))) / 4;
}

/* The value of the field halfway between two vertices. Where it grows alike at both it is about
 * theirs, and not asked for. */
static double halfway(const struct offsetting *o, uint32_t v, uint32_t w)
{
    double bend = bend_between(o, v, w);
    if (bend < o->allowed / 2)
        return ((double)o->spot[v].value + (double)o->spot[w].value + bend) / 2;
    return field_find(&o->field, middle_of(o, v, w), o->spot[v].near).value;
}

/* The greatest value of the field met at the middle of a triangle and of its sides. */
static double excess_of(const struct offsetting *o, size_t t)
{
    const uint32_t *v = mesh_triangle(o->mesh)[t].v;
    struct vec sum = vec(0, 0, 0);
    double most = -INFINITY;
    bool bent = false;
    for (int k = 0; k < 3; k++) {
        double value = halfway(o, v[k], v[(k + 1) % 3]);
        sum = vec_add(sum, point_vec(o->net.at[v[k]]));
        most = fmax(most, value);
        bent = bent || value > o->allowed / 2;
    }
    if (!bent)
        return most;
    return fmax(most, field_find(&o->field, vec_scale(sum, 1 / 3.0), o->spot[v[0]].near).value);
}

static bool is_fresh(const struct offsetting *o, size_t t)
{
    const uint32_t *v = mesh_triangle(o->mesh)[t].v;
    return o->spot[v[0]].fresh || o->spot[v[1]].fresh || o->spot[v[2]].fresh;
}

static bool can_be_cut(const struct offsetting *o, size_t t)
{
    const uint32_t *v = mesh_triangle(o->mesh)[t].v;
    return !o->levels || o->spot[v[0]].level || o->spot[v[1]].level || o->spot[v[2]].level;
}

/* Marks a triangle's clusters when it is farther off than allowed. */
static void look_at(const struct offsetting *o, size_t t, uint8_t *mark)
{
    if (!is_fresh(o, t) || !can_be_cut(o, t))
        return;
    double excess = excess_of(o, t) / o->allowed;
    for (int k = 0; k < 3 && excess > 1; k++)
        __atomic_fetch_or(&mark[mesh_triangle(o->mesh)[t].v[k]], excess > far ? OFFSET_SINGLE : 1,
                          __ATOMIC_RELAXED);
}

enum status offset_excess(struct offsetting *o, uint8_t *mark)
{
    size_t triangles = mesh_triangles(o->mesh), blocks = (triangles + BLOCK - 1) / BLOCK;
#pragma omp parallel for num_threads(job_threads(o->job)) schedule(dynamic, 1)
    for (size_t b = 0; b < blocks; b++)
        for (size_t t = b * BLOCK; t < (b + 1) * BLOCK && t < triangles; t++)
            if (!job_cancelled(o->job))
                look_at(o, t, mark);
    for (size_t v = 0; v < o->net.vertices; v++)
        o->spot[v].fresh = false;
    return job_cancelled(o->job) ? job_fail_cancelled(o->job) : STATUS_OK;
}

/* --- what is told ---------------------------------------------------------------------------- */

struct measured {
    double least, most; /* of the field */
    struct vec at;      /* where it is most */
    size_t looked;
};

static void measure(struct measured *m, double value, struct vec at)
{
    m->least = fmin(m->least, value);
    m->looked++;
    if (!(value > m->most))
        return;
    m->most = value;
    m->at = at;
}

/* The corners of a triangle, its middle, and where it is bent those of its sides. */
static void measure_triangle(const struct offsetting *o, size_t t, struct measured *m)
{
    const uint32_t *v = mesh_triangle(o->mesh)[t].v;
    struct vec sum = vec(0, 0, 0);
    for (int k = 0; k < 3; k++) {
        uint32_t w = v[(k + 1) % 3], near = o->spot[v[k]].near;
        struct vec at = point_vec(o->net.at[v[k]]), half = middle_of(o, v[k], w);
        sum = vec_add(sum, at);
        measure(m, (double)o->spot[v[k]].value, at);
        if (v[k] < w && bend_between(o, v[k], w) > OFFSET_SLACK)
            measure(m, field_find(&o->field, half, near).value, half);
    }
    sum = vec_scale(sum, 1 / 3.0);
    measure(m, field_find(&o->field, sum, o->spot[v[0]].near).value, sum);
}

/* Nodes that were made to be on the solid's side are in the wall: how far from the surface. */
static void measure_turned(const struct offsetting *o, size_t b, struct measured *m)
{
    for (node_id place = 0; place < BLOCK_CELLS; place++) {
        node_id node = (node_id)b << 9 | place;
        if (!(*node_state(&o->grid, node) & NODE_TURNED))
            continue;
        struct vec at = grid_place(&o->grid, node);
        double value = field_find(&o->field, at, NO_INDEX).value;
        if (value > 0)
            measure(m, value, at);
    }
}

/* Of equally great ones that of the first block, whatever thread measured it. */
static void take(struct measured *all, const struct measured *m)
{
    all->least = fmin(all->least, m->least);
    all->looked += m->looked;
    if (!(m->most > all->most))
        return;
    all->most = m->most;
    all->at = m->at;
}

enum status offset_measure(struct offsetting *o)
{
    size_t triangles = mesh_triangles(o->mesh), of_triangles = (triangles + BLOCK - 1) / BLOCK;
    size_t blocks = of_triangles + o->grid.count;
    struct measured all = {INFINITY, -INFINITY, vec(0, 0, 0), 0},
                    *m = scratch_new(blocks + 1, sizeof *m);
    if (!m)
        return job_fail_memory(o->job, blocks * sizeof *m);
    job_phase(o->job, "measuring back", 30, blocks);
#pragma omp parallel for num_threads(job_threads(o->job)) schedule(dynamic, 4)
    for (size_t b = 0; b < blocks; b++) {
        m[b] = all;
        size_t end = (b + 1) * BLOCK < triangles ? (b + 1) * BLOCK : triangles;
        for (size_t t = b * BLOCK; b < of_triangles && t < end && !job_cancelled(o->job); t++)
            measure_triangle(o, t, &m[b]);
        if (b >= of_triangles && triangles && !job_cancelled(o->job))
            measure_turned(o, b - of_triangles, &m[b]);
        job_step(o->job, 1);
    }
    for (size_t b = 0; b < blocks; b++)
        take(&all, &m[b]);
    scratch_free(m);
    o->report->least = all.least + o->field.by;
    o->report->most = all.most + o->field.by;
    o->report->thickest = mesh_world(o->solid, all.at);
    o->report->looked = all.looked;
    return job_cancelled(o->job) ? job_fail_cancelled(o->job) : STATUS_OK;
}
