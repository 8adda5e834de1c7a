/* Where the surface is farther off than it should be. */
#include <omp.h>

#include "core/job.h"
#include "solid/offset_parts.h"

enum { BLOCK = 256 };

static const double far = 4; /* so many times what is allowed is not mended by half the length */

/* How much farther off than the distance a triangle is somewhere; 0: it is proved to be nowhere
 * farther off than allowed. */
static double excess_of(const struct offsetting *o, size_t t, struct prover *prover)
{
    const uint32_t *v = mesh_triangle(o->mesh)[t].v;
    struct vec corner[3];
    struct breach breach;
    double most = 0;
    for (int k = 0; k < 3; k++) {
        corner[k] = point_vec(o->net.at[v[k]]);
        most = fmax(most, (double)o->spot[v[k]].value);
    }
    if (most > o->allowed)
        return most;
    uint32_t near = o->spot[v[0]].near;
    bool within = prover_within(prover, corner, o->field.by + o->allowed, &near, &breach);
    return within ? 0 : breach.distance - o->field.by;
}

static bool is_fresh(const struct offsetting *o, size_t t)
{
    const uint32_t *v = mesh_triangle(o->mesh)[t].v;
    return o->spot[v[0]].fresh || o->spot[v[1]].fresh || o->spot[v[2]].fresh;
}

static bool can_be_cut(const struct offsetting *o, size_t t)
{
    const uint32_t *v = mesh_triangle(o->mesh)[t].v;
    return o->strict || o->spot[v[0]].level || o->spot[v[1]].level || o->spot[v[2]].level;
}

/* Marks a triangle's clusters when it is farther off than allowed. */
static void look_at(const struct offsetting *o, size_t t, struct prover *prover, uint8_t *mark)
{
    if (!is_fresh(o, t) || !can_be_cut(o, t))
        return;
    double excess = excess_of(o, t, prover);
    for (int k = 0; k < 3 && excess > 0; k++)
        __atomic_fetch_or(&mark[mesh_triangle(o->mesh)[t].v[k]],
                          excess > far * o->allowed ? OFFSET_SINGLE : 1, __ATOMIC_RELAXED);
}

enum status offset_excess(struct offsetting *o, uint8_t *mark)
{
    size_t triangles = mesh_triangles(o->mesh), blocks = (triangles + BLOCK - 1) / BLOCK;
#pragma omp parallel for num_threads(job_threads(o->job)) schedule(dynamic, 1)
    for (size_t b = 0; b < blocks; b++)
        for (size_t t = b * BLOCK; t < (b + 1) * BLOCK && t < triangles; t++)
            if (!job_cancelled(o->job))
                look_at(o, t, o->prover[omp_get_thread_num()], mark);
    for (size_t v = 0; v < o->net.vertices; v++)
        o->spot[v].fresh = false;
    return job_cancelled(o->job) ? job_fail_cancelled(o->job) : STATUS_OK;
}
