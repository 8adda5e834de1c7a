#include <stdlib.h>

#include "check/round_parts.h"

enum { BLOCK = 1024 }; /* triangles */

/* cosines of 0.2, 6 and 46 degrees: of an edge that tells; by which a wall may bend the other way;
 * of eight facets a circle */
static const double flat = 0.99999390765, flattish = 0.994521895368, steep = 0.694658370459;

static struct facing facing_of(const struct rounds *rounds, uint32_t triangle)
{
    struct face f = round_face(rounds, triangle);
    return (struct facing){{(float)f.normal.x, (float)f.normal.y, (float)f.normal.z},
                           f.sure ? (float)f.area : 0};
}

/* Whether the two lean towards each other, seen from outside: the corner beyond the side is in
 * front of the face. */
static bool leans(const struct folds *folds, uint32_t h, uint32_t across)
{
    const struct triangle *triangle = mesh_triangle(folds->mesh);
    const struct point *point = mesh_point(folds->mesh);
    struct vec from = point_vec(point[half_from(triangle, h)]);
    struct vec beyond = point_vec(point[half_from(triangle, half_prev(across))]);
    return vec_dot(facing_normal(&folds->face[h / 3]), vec_sub(beyond, from)) >= 0;
}

static enum fold fold_of(const struct folds *folds, uint32_t h)
{
    uint32_t across = half_across(folds->topology, h);
    if (across == NO_INDEX || across < h)
        return FOLD_STOPS;
    const struct facing *a = &folds->face[h / 3], *b = &folds->face[across / 3];
    double cosine = vec_dot(facing_normal(a), facing_normal(b));
    if (!facing_sure(a) || !facing_sure(b) || cosine >= flat)
        return FOLD_ON;
    if (leans(folds, h, across))
        return cosine > steep ? FOLD_BENDS : FOLD_DEEP;
    return cosine > flattish ? FOLD_ON : FOLD_STOPS;
}

static uint8_t folds_of(const struct folds *folds, uint32_t triangle)
{
    unsigned all = 0;
    for (uint32_t k = 0; k < 3; k++)
        all |= (unsigned)fold_of(folds, 3 * triangle + k) << k * FOLD_BITS;
    return (uint8_t)all;
}

static void find(struct folds *folds, const struct rounds *rounds, struct job *job)
{
    size_t count = mesh_triangles(rounds->mesh), blocks = (count + BLOCK - 1) / BLOCK;
    job_phase(job, "looking for round walls", 300, 2 * blocks);
#pragma omp parallel num_threads(job_threads(job))
    {
#pragma omp for schedule(dynamic, 16)
        for (size_t b = 0; b < blocks; b++) {
            size_t end = (b + 1) * BLOCK < count ? (b + 1) * BLOCK : count;
            for (size_t t = b * BLOCK; t < end && !job_cancelled(job); t++)
                folds->face[t] = facing_of(rounds, (uint32_t)t);
            job_step(job, 1);
        }
#pragma omp for schedule(dynamic, 16)
        for (size_t b = 0; b < blocks; b++) {
            size_t end = (b + 1) * BLOCK < count ? (b + 1) * BLOCK : count;
            for (size_t t = b * BLOCK; t < end && !job_cancelled(job); t++)
                folds->fold[t] = folds_of(folds, (uint32_t)t);
            job_step(job, 1);
        }
    }
}

enum status folds_init(struct folds *folds, const struct rounds *rounds, struct job *job)
{
    size_t count = mesh_triangles(rounds->mesh);
    *folds = (struct folds){rounds->mesh, rounds->topology,
                            scratch_new(count, sizeof(struct facing)), scratch_new(count, 1)};
    if (!folds->face || !folds->fold)
        return job_fail_memory(job, count * (sizeof(struct facing) + 1));
    find(folds, rounds, job);
    return job_cancelled(job) ? job_fail_cancelled(job) : STATUS_OK;
}

void folds_release(struct folds *folds)
{
    scratch_free(folds->face);
    scratch_free(folds->fold);
    *folds = (struct folds){0};
}
