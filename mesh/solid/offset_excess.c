/* Where the surface is farther off than it should be. */
#include <omp.h>
#include <stdlib.h>

#include "core/job.h"
#include "solid/offset_parts.h"

enum { BLOCK = 256, QUADS = 1024 /* of a sample, about */ };

static const double far = 4; /* so many times what is allowed is not mended by half the length */

/* How much farther off than the distance a triangle is somewhere; 0: it is proved to be nowhere
 * farther off than allowed. */
static double excess_of(const struct offsetting *o, const uint32_t v[3], struct prover *prover)
{
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
    double excess = excess_of(o, mesh_triangle(o->mesh)[t].v, prover);
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

/* --- a sample -------------------------------------------------------------------------------- */

/* Whether a quad is too far off whichever way it is cut. */
static bool is_far_off(const struct offsetting *o, const uint32_t v[4], struct prover *prover)
{
    bool far_off = true;
    for (int k = 0; k < 2 && far_off; k++) {
        const uint32_t half[2][3] = {{v[k], v[k + 1], v[k + 2]}, {v[k], v[k + 2], v[(k + 3) & 3]}};
        far_off = excess_of(o, half[0], prover) > 0 || excess_of(o, half[1], prover) > 0;
    }
    return far_off;
}

static int by_number(const void *a, const void *b)
{
    uint32_t x = *(const uint32_t *)a, y = *(const uint32_t *)b;
    return (x > y) - (x < y);
}

enum status offset_sample(struct offsetting *o, bool *any)
{
    size_t quads = o->net.quads, every = quads / QUADS + 1, count = 0, distinct = 0;
    uint32_t *vertex = scratch_new(4 * (quads / every + 1), sizeof *vertex);
    bool far_off = false;
    if (!vertex)
        return job_fail_memory(o->job, 4 * (quads / every + 1) * sizeof *vertex);
    for (size_t q = 0; q < quads; q += every)
        for (int k = 0; k < 4; k++)
            vertex[count++] = o->net.quad[q][k];
    qsort(vertex, count, sizeof *vertex, by_number);
    for (size_t i = 0; i < count; i++)
        if (i == 0 || vertex[i] != vertex[i - 1])
            vertex[distinct++] = vertex[i];
    offset_place_some(o, vertex, distinct);
    scratch_free(vertex);
#pragma omp parallel for num_threads(job_threads(o->job)) schedule(dynamic, 4)                     \
    reduction(||                                                                                   \
              : far_off)
    for (size_t q = 0; q < quads; q += every)
        if (!job_cancelled(o->job))
            far_off = far_off || is_far_off(o, o->net.quad[q], o->prover[omp_get_thread_num()]);
    *any = far_off;
    return job_cancelled(o->job) ? job_fail_cancelled(o->job) : STATUS_OK;
}
