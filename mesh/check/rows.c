#include "check/rows.h"

#include <stdlib.h>

#include "core/blocks.h"
#include "core/job.h"
#include "core/topology.h"

enum { BLOCK = 8192 };

static void list_hits(size_t n, bool (*is)(const void *context, size_t i), const void *context,
                      const uint16_t *in_block, struct hits *hits)
{
    for (size_t block = 0; block * BLOCK < n && hits->kept < PLACES_MOST; block++)
        for (size_t i = block * BLOCK; in_block[block] && i < block_end(block, BLOCK, n); i++)
            if (hits->kept < PLACES_MOST && is(context, i))
                hits->index[hits->kept++] = (uint32_t)i;
}

enum status hits_find(size_t n, bool (*is)(const void *context, size_t i), const void *context,
                      struct hits *hits, struct job *job)
{
    *hits = (struct hits){0};
    size_t blocks = n / BLOCK + 1;
    uint64_t count = 0;
    uint16_t *in_block = scratch_new(blocks, sizeof *in_block);
    if (!in_block)
        return job_fail_memory(job, blocks * sizeof *in_block);
#pragma omp parallel for num_threads(job_threads(job)) schedule(dynamic) reduction(+ : count)
    for (size_t block = 0; block < blocks; block++) {
        unsigned found = 0;
        for (size_t i = block * BLOCK; i < block_end(block, BLOCK, n) && !job_cancelled(job); i++)
            found += is(context, i);
        in_block[block] = (uint16_t)found;
        count += found;
    }
    enum status status = job_cancelled(job) ? job_fail_cancelled(job) : STATUS_OK;
    if (count && status == STATUS_OK) {
        hits->count = count;
        hits->index = scratch_new(count < PLACES_MOST ? count : PLACES_MOST, sizeof *hits->index);
        if (hits->index)
            list_hits(n, is, context, in_block, hits);
        else
            status = job_fail_memory(job, PLACES_MOST * sizeof *hits->index);
    }
    scratch_free(in_block);
    return status;
}

static double reach_of(const struct vec *p, int count, struct vec middle)
{
    double reach2 = 0;
    for (int i = 0; i < count; i++)
        reach2 = fmax(reach2, vec_length2(vec_sub(p[i], middle)));
    return sqrt(reach2);
}

struct place place_triangle(const struct mesh *mesh, uint32_t triangle)
{
    struct vec p[3], middle = vec(0, 0, 0);
    for (int k = 0; k < 3; k++) {
        p[k] = point_vec(mesh_point(mesh)[mesh_triangle(mesh)[triangle].v[k]]);
        middle = vec_along(middle, 1 / 3.0, p[k]);
    }
    return (struct place){triangle, vec_point(middle), (float)reach_of(p, 3, middle)};
}

struct place place_edge(const struct mesh *mesh, uint32_t half)
{
    struct vec p[2] = {point_vec(mesh_point(mesh)[half_from(mesh_triangle(mesh), half)]),
                       point_vec(mesh_point(mesh)[half_to(mesh_triangle(mesh), half)])};
    struct vec middle = vec_scale(vec_add(p[0], p[1]), 0.5);
    return (struct place){half / 3, vec_point(middle), (float)reach_of(p, 2, middle)};
}

struct place *places_of_hits(const struct mesh *mesh, struct hits *hits,
                             struct place (*place)(const struct mesh *mesh, uint32_t index),
                             enum status *status, struct job *job)
{
    struct place *places = hits->kept ? malloc(hits->kept * sizeof *places) : NULL;
    *status = STATUS_OK;
    if (hits->kept && !places)
        *status = job_fail_memory(job, hits->kept * sizeof *places);
    for (size_t i = 0; i < hits->kept && places; i++)
        places[i] = place(mesh, hits->index[i]);
    scratch_free(hits->index);
    hits->index = NULL;
    return places;
}
