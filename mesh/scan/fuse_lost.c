#include "scan/fuse_lost.h"

#include <stdlib.h>
#include <string.h>

#include "core/job.h"
#include "scan/fuse_grid.h"

enum { AROUND = 27, MIDDLE = 13 };

static const double alike = 0.3;       /* cosine: faces its way */
static const double near_enough = 1.5; /* steps, from the surface's nearest vertex */
static const float opposed = -0.5f;    /* cosine: of a wall's other side */
static const double wall_most = 3;     /* steps */

/* Whether a vertex beside the sample faces its way. */
static bool is_there(const struct net *net, node_id cell, const struct fuse_sample *s)
{
    const struct vec at = vec((double)s->at[0], (double)s->at[1], (double)s->at[2]);
    const struct vec n = vec((double)s->normal[0], (double)s->normal[1], (double)s->normal[2]);
    double most = near_enough * (double)net->grid->frame.step;
    for (int i = 0; i < AROUND; i++) {
        int k = (MIDDLE + i) % AROUND; /* its own cell first */
        uint32_t v =
            net_vertex(net, grid_beside(net->grid, cell, k % 3 - 1, k / 3 % 3 - 1, k / 9 - 1));
        if (v == NO_INDEX || net->trust[v] == TRUST_NONE)
            continue;
        struct vec off = vec_sub(point_vec(net->at[v]), at);
        if (vec_dot(point_vec(net->normal[v]), n) > alike && vec_length2(off) < most * most)
            return true;
    }
    return false;
}

/* How thick the wall is that the sample stands on; 0: none. */
static float wall_at(const struct fuse_samples *all, const struct fuse_sample *s,
                     const struct gathered *near)
{
    float most = (float)wall_most * all->step, thin = most;
    for (size_t k = 0; k < near->count; k++) {
        const struct fuse_sample *o = all->sample + near->sample[k];
        float facing = 0, behind = 0, away2 = 0;
        for (int d = 0; d < 3; d++) {
            float x = o->at[d] - s->at[d];
            facing += o->normal[d] * s->normal[d];
            behind -= x * s->normal[d];
            away2 += x * x;
        }
        if (facing < opposed && behind > 0 && behind < thin &&
            away2 - behind * behind < all->step * all->step)
            thin = behind;
    }
    return thin < most ? thin : 0;
}

struct list {
    uint32_t *sample;
    float *wall;
    size_t count;
};

static node_id cell_of(const struct fuse_samples *samples, size_t block, uint32_t sample)
{
    uint32_t at[3];
    grid_index(samples->key[sample], at);
    return (node_id)block << 9 | (at[2] & 7) << 6 | (at[1] & 7) << 3 | (at[0] & 7);
}

static enum status mark_lost(const struct net *net, const struct fuse_samples *samples,
                             uint8_t *lost, struct job *job)
{
    const struct grid *grid = net->grid;
#pragma omp parallel for num_threads(job_threads(job)) schedule(dynamic, 16)
    for (size_t b = 0; b < grid->count; b++)
        for (uint32_t i = grid_block(grid, b)->first; i < grid_block(grid, b)->end; i++)
            if (!job_cancelled(job))
                lost[i] = !is_there(net, cell_of(samples, b, i), &samples->sample[i]);
    return job_cancelled(job) ? job_fail_cancelled(job) : STATUS_OK;
}

static enum status list_lost(const struct net *net, const struct fuse_samples *samples,
                             const uint8_t *lost, struct list *out, struct job *job)
{
    const struct grid *grid = net->grid;
    struct gathered near = {0};
    bool ok = true;
    for (size_t b = 0; b < grid->count && ok && !job_cancelled(job); b++) {
        uint32_t first = grid_block(grid, b)->first, end = grid_block(grid, b)->end;
        if (first == end || !memchr(lost + first, 1, end - first))
            continue;
        ok = grid_gather(grid, b, (float)wall_most * samples->step, &near);
        for (uint32_t i = first; i < end && ok && !job_cancelled(job); i++)
            if (lost[i]) {
                out->wall[out->count] = wall_at(samples, &samples->sample[i], &near);
                out->sample[out->count++] = i;
            }
    }
    free(near.sample);
    if (!ok)
        return job_fail_memory(job, samples->count);
    return job_cancelled(job) ? job_fail_cancelled(job) : STATUS_OK;
}

static int by_size(const void *x, const void *y)
{
    float a = *(const float *)x, b = *(const float *)y;
    return a < b ? -1 : a > b;
}

static void sum_up(const struct fuse_samples *samples, struct list *list, struct fuse_lost *out)
{
    size_t walls = 0;
    out->samples = list->count;
    if (list->count == 0)
        return;
    const struct fuse_sample *middle = &samples->sample[list->sample[list->count / 2]];
    out->at =
        vec(samples->origin[0] + (double)middle->at[0], samples->origin[1] + (double)middle->at[1],
            samples->origin[2] + (double)middle->at[2]);
    for (size_t i = 0; i < list->count; i++)
        if (list->wall[i] > 0)
            list->wall[walls++] = list->wall[i];
    qsort(list->wall, walls, sizeof *list->wall, by_size);
    out->thickness = 2 * walls > list->count ? (double)list->wall[walls / 2] : 0;
}

enum status lost_find(const struct net *net, const struct fuse_samples *samples,
                      struct fuse_lost *out, struct job *job)
{
    *out = (struct fuse_lost){0};
    uint8_t *lost = scratch_new(samples->count, 1);
    struct list list = {0};
    enum status status =
        lost ? mark_lost(net, samples, lost, job) : job_fail_memory(job, samples->count);
    size_t count = 0;
    for (size_t i = 0; i < samples->count && status == STATUS_OK; i++)
        count += lost[i];
    if (status == STATUS_OK && count) {
        list.sample = scratch_new(count, sizeof *list.sample);
        list.wall = scratch_new(count, sizeof *list.wall);
        status = list.sample && list.wall ? list_lost(net, samples, lost, &list, job)
                                          : job_fail_memory(job, count * 8);
    }
    if (status == STATUS_OK)
        sum_up(samples, &list, out);
    scratch_free(lost);
    scratch_free(list.sample);
    scratch_free(list.wall);
    return status;
}
