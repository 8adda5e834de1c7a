#include "surface/fill_one.h"

#include <math.h>

#include "core/job.h"
#include "core/topology.h"

enum { OFTEN = 4096 }; /* edges between two askings of the job */

/* Rims are loops and, behind them, chains. */
static size_t rims_of(const struct loops *loops)
{
    return loops->count + loops->chains;
}

static double nearest_vertex(const struct mesh *mesh, const struct loops *loops, size_t rim,
                             struct vec at)
{
    double best = INFINITY;
    for (uint32_t i = loops->start[rim]; i < loops->start[rim + 1]; i++) {
        uint32_t v = half_from(mesh_triangle(mesh), loops->half[i]);
        double d = vec_length2(vec_sub(point_vec(mesh_point(mesh)[v]), at));
        best = d < best ? d : best;
    }
    return best;
}

/* A chain's last end is the first of another one, or of none. */
static void mark_rim(const struct mesh *mesh, const struct loops *loops, size_t rim, uint8_t *mark)
{
    for (uint32_t i = loops->start[rim]; i < loops->start[rim + 1]; i++) {
        mark[half_from(mesh_triangle(mesh), loops->half[i])] = 1;
        mark[half_to(mesh_triangle(mesh), loops->half[i])] = 1;
    }
}

enum status fill_one_find(const struct mesh *mesh, struct vec at, uint8_t *mark, double *distance,
                          struct job *job)
{
    const struct loops *loops = mesh_loops(mesh, job);
    struct vec local = mesh_local(mesh, at);
    size_t chosen = 0, looked = 0;
    double best = INFINITY;
    if (!loops)
        return job_status(job);
    for (size_t i = 0; i < rims_of(loops); i++) {
        looked += loops->start[i + 1] - loops->start[i];
        if (looked > OFTEN && job_cancelled(job))
            return job_fail_cancelled(job);
        looked = looked > OFTEN ? 0 : looked;
        double d = nearest_vertex(mesh, loops, i, local);
        if (d < best) {
            best = d;
            chosen = i;
        }
    }
    *distance = sqrt(best);
    for (size_t i = 0; mark && best < INFINITY && i < rims_of(loops); i++)
        if (i == chosen || (chosen >= loops->count && i >= loops->count))
            mark_rim(mesh, loops, i, mark);
    return STATUS_OK;
}
