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

struct corner { /* what is known at a vertex of the mesh */
    float value;
    uint32_t near;
};

struct measuring {
    const struct offsetting *o;
    struct corner *corner;
    const struct tree *surface;
    size_t of_triangles; /* blocks of triangles; blocks of the grid come after them */
};

static void measure(struct measured *m, double distance, struct vec at)
{
    m->least = fmin(m->least, distance);
    if (!(distance > m->most))
        return;
    m->most = distance;
    m->at = at;
}

static void measure_triangle(const struct measuring *all, size_t t, struct prover *prover,
                             struct measured *m)
{
    const struct offsetting *o = all->o;
    const uint32_t *v = mesh_triangle(o->mesh)[t].v;
    double even = o->field.by + o->allowed;
    struct vec corner[3];
    for (int k = 0; k < 3; k++) {
        corner[k] = point_vec(mesh_point(o->mesh)[v[k]]);
        measure(m, o->field.by + (double)all->corner[v[k]].value, corner[k]);
    }
    struct vec a = vec_sub(corner[1], corner[0]), b = vec_sub(corner[2], corner[0]);
    double area = vec_length(vec_cross(a, b));
    uint32_t near = all->corner[v[0]].near;
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

static void measure_block(const struct measuring *all, size_t b, struct measured *m)
{
    const struct offsetting *o = all->o;
    size_t triangles = mesh_triangles(o->mesh);
    size_t end = block_end(b, BLOCK, triangles);
    *m = (struct measured){.least = INFINITY};
    for (size_t t = b * BLOCK; b < all->of_triangles && t < end && !job_cancelled(o->job); t++)
        measure_triangle(all, t, o->prover[omp_get_thread_num()], m);
    if (b >= all->of_triangles && triangles && !job_cancelled(o->job))
        measure_turned(o, b - all->of_triangles, all->surface, m);
}

/* A run of vertices begins with nothing known, so that what is found does not depend on threads. */
static void measure_corners(const struct measuring *all, size_t from, size_t to)
{
    uint32_t near = NO_INDEX;
    for (size_t v = from; v < to && !job_cancelled(all->o->job); v++) {
        struct vec at = point_vec(mesh_point(all->o->mesh)[v]);
        struct field_at f = field_find(&all->o->field, at, near);
        all->corner[v] = (struct corner){(float)f.value, near = f.triangle};
    }
}

static void tell(const struct offsetting *o, const struct measured *all)
{
    struct offset_report *r = o->report;
    r->made = mesh_triangles(o->mesh);
    r->least = all->least;
    r->even = o->field.by + o->allowed;
    r->uneven = all->area > 0 ? all->uneven / all->area : 0;
    r->bound = fmax(r->even, all->bound);
    r->most = all->most;
    r->at = mesh_world(o->solid, all->at);
}

static void measure_all(const struct measuring *all, struct measured *m, size_t blocks)
{
    struct job *job = all->o->job;
    size_t vertices = mesh_vertices(all->o->mesh);
#pragma omp parallel num_threads(job_threads(job))
    {
#pragma omp for schedule(dynamic, 1)
        for (size_t v = 0; v < vertices; v += BLOCK)
            measure_corners(all, v, v + BLOCK < vertices ? v + BLOCK : vertices);
#pragma omp for schedule(dynamic, 4)
        for (size_t b = 0; b < blocks; b++) {
            measure_block(all, b, &m[b]);
            job_step(job, 1);
        }
    }
}

enum status offset_measure(struct offsetting *o)
{
    size_t triangles = mesh_triangles(o->mesh), vertices = mesh_vertices(o->mesh);
    struct measuring all = {.o = o, .of_triangles = (triangles + BLOCK - 1) / BLOCK};
    size_t blocks = all.of_triangles + o->grid.count;
    struct measured sum = {.least = INFINITY}, *m = scratch_new(blocks + 1, sizeof *m);
    all.corner = m ? scratch_new(vertices + 1, sizeof *all.corner) : NULL;
    all.surface = all.corner ? mesh_tree(o->mesh, o->job) : NULL;
    enum status status = STATUS_OK;
    if (!all.corner)
        status = job_fail_memory(o->job, blocks * sizeof *m + vertices * sizeof *all.corner);
    else if (!all.surface)
        status = job_status(o->job);
    if (status == STATUS_OK) {
        job_phase(o->job, "measuring back", 30, blocks);
        measure_all(&all, m, blocks);
        for (size_t b = 0; b < blocks; b++)
            take(&sum, &m[b]);
        tell(o, &sum);
        status = job_cancelled(o->job) ? job_fail_cancelled(o->job) : STATUS_OK;
    }
    scratch_free(all.corner);
    scratch_free(m);
    return status;
}
