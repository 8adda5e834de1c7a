#include "scan/fuse_stray.h"

#include <stdlib.h>

#include "core/job.h"

/* So many samples around are enough to tell; so many beside it are support enough. */
enum { ENOUGH = 1000, SUPPORT = 12, ROUNDS = 4 };

static const float near_enough = 2;  /* samples->reach */
static const float beside = 0.5f;    /* of that: how far off its plane support may lie */
static const float same_way = 0.5f;  /* cosine: faces its way, */
static const float against = -0.1f;  /* faces against it */
static const float outweighed = 3;   /* times its support and itself */
static const double one_cone = 0.75; /* cosine: of any two in a cone so wide neither is against */

static float facing(const float a[3], const float b[3])
{
    return a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
}

/* Whether all samples near face within one cone, as nearly everywhere on a smooth surface. */
static bool face_alike(const struct fuse_samples *all, const struct gathered *near)
{
    struct vec sum = vec(0, 0, 0);
    for (size_t k = 0; k < near->count; k++) {
        const float *n = all->sample[near->sample[k]].normal;
        sum = vec_add(sum, vec((double)n[0], (double)n[1], (double)n[2]));
    }
    sum = vec_unit(sum);
    const float mean[3] = {(float)sum.x, (float)sum.y, (float)sum.z};
    for (size_t k = 0; k < near->count; k++)
        if (!((double)facing(all->sample[near->sample[k]].normal, mean) > one_cone))
            return false;
    return true;
}

/* Whether sample i has no support, and others face it across a gap and outweigh it. */
static bool is_stray(const struct fuse_samples *all, uint32_t i, const struct gathered *near)
{
    const struct fuse_sample *s = all->sample + i;
    float reach = near_enough * (float)all->reach, for_it = s->weight, against_it = 0;
    size_t step = near->count / ENOUGH + 1, count = 0;
    for (size_t k = i % step; k < near->count; k += step) {
        const struct fuse_sample *o = all->sample + near->sample[k];
        const float away[3] = {o->at[0] - s->at[0], o->at[1] - s->at[1], o->at[2] - s->at[2]};
        if (near->sample[k] == i || facing(away, away) > reach * reach)
            continue;
        float dot = facing(o->normal, s->normal), off = facing(away, s->normal);
        if (dot < against && off > 0 && facing(away, o->normal) < 0) {
            against_it += o->weight;
        } else if (dot > same_way && fabsf(off) < beside * reach) {
            for_it += o->weight;
            count++;
        }
    }
    return count < SUPPORT && against_it > outweighed * for_it;
}

static enum status find_strays(const struct fuse_samples *samples, const struct grid *grid,
                               uint8_t *stray, struct job *job)
{
    bool failed = false;
#pragma omp parallel num_threads(job_threads(job)) reduction(|| : failed)
    {
        struct gathered near = {0};
#pragma omp for schedule(dynamic, 8)
        for (size_t b = 0; b < grid->count; b++) {
            uint32_t first = grid_block(grid, b)->first, end = grid_block(grid, b)->end;
            if (failed || first == end || job_cancelled(job))
                continue;
            failed = !grid_gather(grid, b, near_enough * (float)samples->reach, &near);
            bool alike = !failed && face_alike(samples, &near);
            for (uint32_t i = first; i < end && !failed && !job_cancelled(job); i++)
                stray[i] = !alike && is_stray(samples, i, &near);
        }
        free(near.sample);
    }
    if (failed)
        return job_fail_memory(job, samples->count);
    return job_cancelled(job) ? job_fail_cancelled(job) : STATUS_OK;
}

/* Sample `from` becomes sample `to`. */
static void move_sample(struct fuse_samples *samples, size_t from, size_t to)
{
    samples->sample[to] = samples->sample[from];
    samples->piece[to] = samples->piece[from];
    samples->mixed[to] = samples->mixed[from];
    samples->key[to] = samples->key[from];
    if (samples->colour)
        samples->colour[to] = samples->colour[from];
}

/* Blocks with samples stand in the samples' order. */
static size_t drop(struct fuse_samples *samples, struct grid *grid, const uint8_t *stray)
{
    size_t kept = 0;
    for (size_t b = 0; b < grid->count; b++) {
        struct grid_block *block = grid_block(grid, b);
        uint32_t first = block->first, end = block->end;
        if (first == end)
            continue;
        block->first = (uint32_t)kept;
        for (uint32_t i = first; i < end; i++)
            if (!stray[i])
                move_sample(samples, i, kept++);
        block->end = (uint32_t)kept;
    }
    size_t dropped = samples->count - kept;
    samples->count = kept;
    return dropped;
}

enum status stray_samples_drop(struct fuse_samples *samples, struct grid *grid, size_t *dropped,
                               struct job *job)
{
    uint8_t *stray = scratch_new(samples->count, 1);
    if (!stray)
        return job_fail_memory(job, samples->count);
    enum status status = STATUS_OK;
    *dropped = 0;
    for (size_t round = 0, some = 1; round < ROUNDS && some && status == STATUS_OK; round++) {
        status = find_strays(samples, grid, stray, job);
        some = status == STATUS_OK ? drop(samples, grid, stray) : 0;
        *dropped += some;
    }
    scratch_free(stray);
    return status;
}
