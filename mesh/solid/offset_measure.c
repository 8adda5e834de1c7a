/* How far off the surface is: what is met, and what is proved. */
#include <omp.h>

#include "core/job.h"
#include "solid/offset_parts.h"

enum { BLOCK = 1024 };

static const double fine = 2e-3; /* of the distance: bounds are no farther off what is met */

struct measured {
    double least;             /* met, mm */
    struct offset_far far[2]; /* of triangles in open room; at places filled up. Local */
};

static void measure(struct offset_far *far, double distance, struct vec at)
{
    far->bound = fmax(far->bound, distance);
    if (!(distance > far->met))
        return;
    far->met = distance;
    far->at = at;
}

static void measure_triangle(const struct offsetting *o, size_t t, struct prover *prover,
                             struct measured *m)
{
    const uint32_t *v = mesh_triangle(o->mesh)[t].v;
    double by = o->field.by, bound = by + o->allowed, most = 0;
    bool filled = o->spot[v[0]].turned || o->spot[v[1]].turned || o->spot[v[2]].turned;
    struct offset_far *far = &m->far[filled];
    struct vec corner[3];
    for (int k = 0; k < 3; k++) {
        double distance = by + (double)o->spot[v[k]].value;
        corner[k] = point_vec(o->net.at[v[k]]);
        m->least = fmin(m->least, distance);
        most = fmax(most, distance);
        measure(far, distance, corner[k]);
    }
    uint32_t near = o->spot[v[0]].near;
    struct breach breach;
    if (most > bound || !prover_within(prover, corner, bound, &near, &breach)) {
        bound = prover_bound(prover, corner, bound, fine * by, &near, &breach);
        if (bound > by + o->allowed)
            measure(far, breach.distance, breach.at);
    }
    far->bound = fmax(far->bound, bound);
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
            measure(&m->far[1], o->field.by + value, at);
    }
}

/* Of equally great ones that of the first block, whatever thread measured it. */
static void take(struct measured *all, const struct measured *m)
{
    all->least = fmin(all->least, m->least);
    for (int filled = 0; filled < 2; filled++) {
        const struct offset_far *far = &m->far[filled];
        all->far[filled].bound = fmax(all->far[filled].bound, far->bound);
        measure(&all->far[filled], far->met, far->at);
    }
}

static void measure_block(const struct offsetting *o, size_t b, size_t of_triangles,
                          struct measured *m)
{
    size_t triangles = mesh_triangles(o->mesh);
    size_t end = (b + 1) * BLOCK < triangles ? (b + 1) * BLOCK : triangles;
    *m = (struct measured){.least = INFINITY};
    for (size_t t = b * BLOCK; b < of_triangles && t < end && !job_cancelled(o->job); t++)
        measure_triangle(o, t, o->prover[omp_get_thread_num()], m);
    if (b >= of_triangles && triangles && !job_cancelled(o->job))
        measure_turned(o, b - of_triangles, m);
}

static void tell(const struct offsetting *o, const struct measured *all)
{
    struct offset_report *r = o->report;
    r->least = all->least;
    r->open = all->far[0];
    r->narrow = all->far[1];
    r->open.at = mesh_world(o->solid, r->open.at);
    r->narrow.at = mesh_world(o->solid, r->narrow.at);
}

enum status offset_measure(struct offsetting *o)
{
    size_t triangles = mesh_triangles(o->mesh), of_triangles = (triangles + BLOCK - 1) / BLOCK;
    size_t blocks = of_triangles + o->grid.count;
    struct measured all = {.least = INFINITY}, *m = scratch_new(blocks + 1, sizeof *m);
    if (!m)
        return job_fail_memory(o->job, blocks * sizeof *m);
    job_phase(o->job, "measuring back", 30, blocks);
#pragma omp parallel for num_threads(job_threads(o->job)) schedule(dynamic, 4)
    for (size_t b = 0; b < blocks; b++) {
        measure_block(o, b, of_triangles, &m[b]);
        job_step(o->job, 1);
    }
    for (size_t b = 0; b < blocks; b++)
        take(&all, &m[b]);
    scratch_free(m);
    tell(o, &all);
    return job_cancelled(o->job) ? job_fail_cancelled(o->job) : STATUS_OK;
}
