#include <math.h>
#include <stdlib.h>

#include "check/round_parts.h"

enum {
    FEW = 2048, /* triangles of a district, about: at the least, */
    MANY = 32768,
    SHARE = 32,     /* of all at the most, */
    SPREAD = 4,     /* names for one that is full: cells that have the same make one */
    MOST = 1 << 16, /* and so many in all */
    BLOCK = 1024,   /* triangles */
    EVERY = 64      /* one is measured of so many */
};

#define FAR 0x1p40 /* cells: to round down what is below zero, too */

/* Whole numbers of cells along an axis; what is too far for them is in one. */
static uint64_t cell_of(double at, double side)
{
    double cells = at / side;
    return fabs(cells) < FAR ? (uint64_t)(int64_t)(cells + FAR) : 0;
}

/* By the cell that holds its first corner. */
static uint16_t name_of(const struct mesh *mesh, uint32_t triangle, double side, size_t names)
{
    struct vec at = point_vec(mesh_point(mesh)[mesh_triangle(mesh)[triangle].v[0]]);
    uint64_t mixed = cell_of(at.x, side) * UINT64_C(0x9e3779b97f4a7c15);
    mixed = (mixed ^ cell_of(at.y, side)) * UINT64_C(0xc2b2ae3d27d4eb4f);
    mixed = (mixed ^ mixed >> 29 ^ cell_of(at.z, side)) * UINT64_C(0x165667b19e3779f9);
    return (uint16_t)((mixed >> 32) % names);
}

/* Of cells through which so many triangles pass; 0: they have no area. */
static double side_of(const struct folds *folds, size_t triangles)
{
    size_t count = mesh_triangles(folds->mesh), seen = 0;
    double area = 0;
    for (size_t t = 0; t < count; t += EVERY, seen++)
        area += folds->face[t].area;
    double side = sqrt(area / (double)seen * (double)triangles);
    return isfinite(side) ? side : 0;
}

static void name_all(struct districts *d, const struct folds *folds, double side, struct job *job)
{
    size_t count = mesh_triangles(folds->mesh), blocks = (count + BLOCK - 1) / BLOCK;
#pragma omp parallel for num_threads(job_threads(job)) schedule(dynamic, 16)
    for (size_t b = 0; b < blocks; b++) {
        size_t end = (b + 1) * BLOCK < count ? (b + 1) * BLOCK : count;
        for (size_t t = b * BLOCK; t < end && !job_cancelled(job); t++)
            d->of[t] = side > 0 ? name_of(folds->mesh, (uint32_t)t, side, d->count) : 0;
    }
}

static bool is_time(size_t t, const struct job *job)
{
    return t % BLOCK == 0 && job_cancelled(job);
}

/* Counting sort; of no use when cancelled. */
static void sort(struct districts *d, size_t count, const struct job *job)
{
    for (size_t t = 0; t < count && !is_time(t, job); t++)
        d->start[d->of[t] + 1]++;
    for (size_t i = 0; i < d->count; i++)
        d->start[i + 1] += d->start[i];
    if (d->start[d->count] < count)
        return;
    for (size_t t = 0; t < count && !is_time(t, job); t++)
        d->triangle[d->start[d->of[t]]++] = (uint32_t)t;
    for (size_t i = d->count; i > 0; i--)
        d->start[i] = d->start[i - 1];
    d->start[0] = 0;
}

enum status districts_init(struct districts *d, const struct folds *folds, struct job *job)
{
    size_t count = mesh_triangles(folds->mesh), size = count / SHARE;
    size = size < FEW ? FEW : size;
    size = size > MANY ? MANY : size;
    size_t names = (count / size + 1) * SPREAD;
    names = count <= size ? 1 : names > MOST ? MOST : names;
    *d = (struct districts){scratch_new(count, sizeof *d->of), names,
                            scratch_new(count, sizeof *d->triangle),
                            scratch_zeros(names + 1, sizeof *d->start)};
    if (!d->of || !d->triangle || !d->start)
        return job_fail_memory(job, count * (sizeof *d->of + sizeof *d->triangle));
    name_all(d, folds, side_of(folds, size), job);
    if (!job_cancelled(job))
        sort(d, count, job);
    return job_cancelled(job) ? job_fail_cancelled(job) : STATUS_OK;
}

void districts_release(struct districts *d)
{
    scratch_free(d->of);
    scratch_free(d->triangle);
    scratch_free(d->start);
    *d = (struct districts){0};
}
