/* How far off the surface is: what is met, and what is proved. */
#include <omp.h>

#include "core/blocks.h"
#include "core/job.h"
#include "solid/offset_parts.h"

enum { BLOCK = 1024 };

static const double fine = 2e-3; /* of the distance: bounds are no farther off what is met */

struct measured {
    double least, most;  /* met, mm; */
    struct vec at;       /* local: where it is most */
    double bound;        /* of triangles that are farther off than allowed, and of nodes, mm */
    double area, uneven; /* mm2, doubled: of all, of those */
};

static void measure(struct measured *m, double distance, struct vec at)
{
    m->least = fmin(m->least, distance);
    if (!(distance > m->most))
        return;
    m->most = distance;
    m->at = at;
}

static void measure_triangle(const struct offsetting *o, size_t t, struct prover *prover,
                             struct measured *m)
{
    const uint32_t *v = mesh_triangle(o->mesh)[t].v;
    double even = o->field.by + o->allowed;
    struct vec corner[3];
    for (int k = 0; k < 3; k++) {
        corner[k] = point_vec(o->net.at[v[k]]);
        measure(m, o->field.by + (double)o->spot[v[k]].value, corner[k]);
    }
    struct vec a = vec_sub(corner[1], corner[0]), b = vec_sub(corner[2], corner[0]);
    double area = vec_length(vec_cross(a, b));
    uint32_t near = o->spot[v[0]].near;
    struct breach breach;
    m->area += area;
    if (prover_within(prover, corner, even, &near, &breach))
        return;
    double bound = prover_bound(prover, corner, even, fine * o->field.by, &near, &breach);
    if (!(bound > even))
        return;
    measure(m, breach.distance, breach.at);
    m->bound = fmax(m->bound, bound);
    m->uneven += area;
}

/* Whether a place is in the solid behind the surface. */
static bool is_behind(const struct tree *surface, struct vec at)
{
    struct nearest near = tree_nearest(surface, at, INFINITY);
    return vec_dot(vec_sub(at, near.point), tree_normal(surface, &near)) < 0;
}

/* Nodes that were made to be on the solid's side, if they are: how far from the solid's surface. */
static void measure_turned(const struct offsetting *o, size_t b, const struct tree *surface,
                           struct measured *m)
{
    double even = o->field.by + o->allowed;
    for (node_id place = 0; place < BLOCK_CELLS; place++) {
        node_id node = (node_id)b << 9 | place;
        if (!(*node_state(&o->grid, node) & NODE_TURNED))
            continue;
        struct vec at = grid_place(&o->grid, node);
        double distance = o->field.by + field_find(&o->field, at, NO_INDEX).value;
        if (distance > fmax(even, m->most) && is_behind(surface, at)) {
            measure(m, distance, at);
            m->bound = fmax(m->bound, distance);
        }
    }
}

/* Of equally great ones that of the first block, whatever thread measured it. */
static void take(struct measured *all, const struct measured *m)
{
    double least = fmin(all->least, m->least);
    measure(all, m->most, m->at);
    all->least = least;
    all->bound = fmax(all->bound, m->bound);
    all->area += m->area;
    all->uneven += m->uneven;
}

static void measure_block(const struct offsetting *o, size_t b, size_t of_triangles,
                          const struct tree *surface, struct measured *m)
{
    size_t triangles = mesh_triangles(o->mesh);
    size_t end = block_end(b, BLOCK, triangles);
    *m = (struct measured){.least = INFINITY};
    for (size_t t = b * BLOCK; b < of_triangles && t < end && !job_cancelled(o->job); t++)
        measure_triangle(o, t, o->prover[omp_get_thread_num()], m);
    if (b >= of_triangles && triangles && !job_cancelled(o->job))
        measure_turned(o, b - of_triangles, surface, m);
}

static void tell(const struct offsetting *o, const struct measured *all)
{
    struct offset_report *r = o->report;
    r->least = all->least;
    r->even = o->field.by + o->allowed;
    r->uneven = all->area > 0 ? all->uneven / all->area : 0;
    r->bound = fmax(r->even, all->bound);
    r->most = all->most;
    r->at = mesh_world(o->solid, all->at);
}

enum status offset_measure(struct offsetting *o)
{
    size_t triangles = mesh_triangles(o->mesh), of_triangles = (triangles + BLOCK - 1) / BLOCK;
    size_t blocks = of_triangles + o->grid.count;
    struct measured all = {.least = INFINITY}, *m = scratch_new(blocks + 1, sizeof *m);
    const struct tree *surface = m ? mesh_tree(o->mesh, o->job) : NULL;
    if (!surface) {
        scratch_free(m);
        return m ? job_status(o->job) : job_fail_memory(o->job, blocks * sizeof *m);
    }
    job_phase(o->job, "measuring back", 30, blocks);
#pragma omp parallel for num_threads(job_threads(o->job)) schedule(dynamic, 4)
    for (size_t b = 0; b < blocks; b++) {
        measure_block(o, b, of_triangles, surface, &m[b]);
        job_step(o->job, 1);
    }
    for (size_t b = 0; b < blocks; b++)
        take(&all, &m[b]);
    scratch_free(m);
    tell(o, &all);
    return job_cancelled(o->job) ? job_fail_cancelled(o->job) : STATUS_OK;
}
