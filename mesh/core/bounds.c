#include <stdlib.h>

#include "core/job.h"
#include "core/topology.h"

struct extent {
    float low[3], high[3];
};

static struct extent extent_of(const struct point *point, size_t count, int threads)
{
    float lx = INFINITY, ly = INFINITY, lz = INFINITY;
    float hx = -INFINITY, hy = -INFINITY, hz = -INFINITY;
#pragma omp parallel for num_threads(threads) reduction(min                                        \
                                                        : lx, ly, lz) reduction(max                \
                                                                                : hx, hy, hz)
    for (size_t v = 0; v < count; v++) {
        struct point p = point[v];
        lx = p.x < lx ? p.x : lx;
        ly = p.y < ly ? p.y : ly;
        lz = p.z < lz ? p.z : lz;
        hx = p.x > hx ? p.x : hx;
        hy = p.y > hy ? p.y : hy;
        hz = p.z > hz ? p.z : hz;
    }
    return (struct extent){{lx, ly, lz}, {hx, hy, hz}};
}

static void *bounds_make(const struct mesh *mesh, struct job *job)
{
    struct bounds *bounds = calloc(1, sizeof *bounds);
    if (!bounds) {
        job_fail_memory(job, sizeof *bounds);
        return NULL;
    }
    if (mesh_vertices(mesh) == 0)
        return bounds;
    struct extent e = extent_of(mesh_point(mesh), mesh_vertices(mesh), job_threads(job));
    bounds->min = mesh_world(mesh, vec(e.low[0], e.low[1], e.low[2]));
    bounds->max = mesh_world(mesh, vec(e.high[0], e.high[1], e.high[2]));
    /* From the local numbers: the origin may be so far off that it would swallow digits. */
    bounds->size = vec((double)e.high[0] - e.low[0], (double)e.high[1] - e.low[1],
                       (double)e.high[2] - e.low[2]);
    bounds->centre = vec_along(bounds->min, 0.5, bounds->size);
    return bounds;
}

const struct derived_row derived_bounds = {bounds_make, free};

enum status meshes_box(const struct mesh *const *mesh, size_t count, struct vec *min,
                       struct vec *max, struct job *job)
{
    *min = vec(INFINITY, INFINITY, INFINITY);
    *max = vec_scale(*min, -1);
    for (size_t i = 0; i < count; i++) {
        const struct bounds *b = mesh_bounds(mesh[i], job);
        if (!b)
            return job_status(job);
        if (mesh_vertices(mesh[i]) == 0)
            continue;
        *min = vec(fmin(min->x, b->min.x), fmin(min->y, b->min.y), fmin(min->z, b->min.z));
        *max = vec(fmax(max->x, b->max.x), fmax(max->y, b->max.y), fmax(max->z, b->max.z));
    }
    return STATUS_OK;
}
