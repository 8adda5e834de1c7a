#include "scan/fuse_ladder.h"

#include <string.h>

enum { FEW = 12, SWEEPS_LAST = 24, SMALL = 20000, BLOCK = 4096 };

static const double damping = 0.7; /* of a sweep */
static const double stuck = 0.95;
static const double boost = 1.6; /* bundles move as one: their answer is too small by about that */

/* --- bundles --------------------------------------------------------------------------------- */

/* Each free one takes its free neighbours with it; who is left goes with a neighbour's bundle. */
static size_t bundle(const struct rung *r)
{
    size_t bundles = 0;
    memset(r->up, 255, r->count * sizeof *r->up);
    for (size_t i = 0; i < r->count; i++) {
        bool alone = r->up[i] == NO_INDEX;
        for (uint32_t e = r->start[i]; e < r->start[i + 1] && alone; e++)
            alone = r->up[r->other[e]] == NO_INDEX;
        if (!alone)
            continue;
        r->up[i] = (uint32_t)bundles;
        for (uint32_t e = r->start[i]; e < r->start[i + 1]; e++)
            r->up[r->other[e]] = (uint32_t)bundles;
        bundles++;
    }
    for (size_t i = 0; i < r->count; i++) {
        float best = 0;
        uint32_t to = NO_INDEX;
        for (uint32_t e = r->start[i]; e < r->start[i + 1] && r->up[i] == NO_INDEX; e++)
            if (r->up[r->other[e]] != NO_INDEX && r->tie[e] > best) {
                best = r->tie[e];
                to = r->up[r->other[e]];
            }
        if (r->up[i] == NO_INDEX)
            r->up[i] = to;
    }
    return bundles;
}

static void list_members(const struct rung *r, size_t bundles)
{
    memset(r->from, 0, (bundles + 1) * sizeof *r->from);
    for (size_t i = 0; i < r->count; i++)
        r->from[r->up[i] + 1]++;
    for (size_t b = 0; b < bundles; b++)
        r->from[b + 1] += r->from[b];
    for (size_t i = r->count; i-- > 0;)
        r->list[--r->from[r->up[i] + 1]] = (uint32_t)i;
    memmove(r->from, r->from + 1, bundles * sizeof *r->from);
    r->from[bundles] = (uint32_t)r->count;
}

/* The ties between bundles: sums of their members'. `slot` is as long as the bundles are many. */
static void tie_bundles(const struct rung *r, struct rung *up, uint32_t *slot)
{
    uint32_t entries = 0;
    memset(slot, 255, up->count * sizeof *slot);
    for (size_t b = 0; b < up->count; b++) {
        uint32_t first = entries;
        double whole = 0;
        up->start[b] = first;
        for (uint32_t m = r->from[b]; m < r->from[b + 1]; m++) {
            uint32_t i = r->list[m];
            whole += (double)r->whole[i];
            for (uint32_t e = r->start[i]; e < r->start[i + 1]; e++) {
                uint32_t to = r->up[r->other[e]];
                if (to == b) {
                    whole -= (double)r->tie[e];
                } else if (slot[to] != NO_INDEX && slot[to] >= first) {
                    up->tie[slot[to]] += r->tie[e];
                } else {
                    slot[to] = entries;
                    up->other[entries] = to;
                    up->tie[entries++] = r->tie[e];
                }
            }
        }
        up->whole[b] = (float)whole;
    }
    up->start[up->count] = entries;
}

/* Room for a rung of so many, with so many entries. */
static bool rung_new(struct rung *r, size_t count, size_t entries)
{
    r->count = count;
    r->start = scratch_new(count + 1, sizeof *r->start);
    r->other = scratch_new(entries + 1, sizeof *r->other);
    r->tie = scratch_new(entries + 1, sizeof *r->tie);
    r->whole = scratch_new(count, sizeof *r->whole);
    return r->start && r->other && r->tie && r->whole;
}

static bool vectors_new(struct rung *r)
{
    r->x = scratch_new(r->count, sizeof *r->x);
    r->b = scratch_new(r->count, sizeof *r->b);
    r->r = scratch_new(r->count, sizeof *r->r);
    return r->x && r->b && r->r;
}

/* False when out of memory. */
static bool climb(struct ladder *l)
{
    struct rung *r = &l->rung[l->rungs - 1], *up = r + 1;
    r->up = scratch_new(r->count, sizeof *r->up);
    r->list = scratch_new(r->count, sizeof *r->list);
    if (!r->up || !r->list)
        return false;
    size_t bundles = bundle(r);
    r->from = scratch_new(bundles + 1, sizeof *r->from);
    uint32_t *slot = scratch_new(bundles, sizeof *slot);
    bool ok = r->from && slot && rung_new(up, bundles, r->start[r->count]) && vectors_new(up);
    if (ok) {
        list_members(r, bundles);
        tie_bundles(r, up, slot);
    }
    l->rungs++;
    scratch_free(slot);
    return ok;
}

enum status ladder_make(struct ladder *l, struct job *job)
{
    bool ok = vectors_new(&l->rung[0]);
    l->rungs = 1;
    l->job = job;
    while (ok && l->rungs < RUNGS_MOST && l->rung[l->rungs - 1].count > FEW) {
        if (job_cancelled(job))
            return job_fail_cancelled(job);
        ok = climb(l);
        if (ok && (double)l->rung[l->rungs - 1].count > stuck * (double)l->rung[l->rungs - 2].count)
            break; /* hardly anything is tied to anything any more */
    }
    return ok ? STATUS_OK : job_fail_memory(job, l->rung[0].count * 64);
}

void ladder_release(struct ladder *l)
{
    for (int i = 0; i < RUNGS_MOST; i++) {
        struct rung *r = &l->rung[i];
        void *part[] = {r->start, r->other, r->tie, r->whole, r->up,
                        r->list,  r->from,  r->x,   r->b,     r->r};
        for (size_t k = 0; k < sizeof part / sizeof *part; k++)
            scratch_free(part[k]);
    }
    *l = (struct ladder){0};
}

/* --- going up and down ----------------------------------------------------------------------- */

static int threads_for(const struct ladder *l, const struct rung *r)
{
    return r->count < SMALL ? 1 : l->threads;
}

static inline struct vec times(const struct rung *r, size_t i, const struct vec *in)
{
    struct vec sum = vec_scale(in[i], (double)r->whole[i]);
    for (uint32_t e = r->start[i]; e < r->start[i + 1]; e++)
        sum = vec_along(sum, -(double)r->tie[e], in[r->other[e]]);
    return sum;
}

static void residual(const struct ladder *l, struct rung *r)
{
#pragma omp parallel for num_threads(threads_for(l, r)) schedule(static)
    for (size_t i = 0; i < r->count; i++)
        r->r[i] = vec_sub(r->b[i], times(r, i, r->x));
}

static void sweep(const struct ladder *l, struct rung *r)
{
    residual(l, r);
#pragma omp parallel for num_threads(threads_for(l, r)) schedule(static)
    for (size_t i = 0; i < r->count; i++)
        r->x[i] = vec_along(r->x[i], damping / (double)r->whole[i], r->r[i]);
}

static void first_sweep(const struct ladder *l, struct rung *r)
{
#pragma omp parallel for num_threads(threads_for(l, r)) schedule(static)
    for (size_t i = 0; i < r->count; i++)
        r->x[i] = vec_scale(r->b[i], damping / (double)r->whole[i]);
}

static void hand_up(const struct ladder *l, struct rung *r)
{
    struct rung *up = r + 1;
    residual(l, r);
#pragma omp parallel for num_threads(threads_for(l, r)) schedule(static)
    for (size_t b = 0; b < up->count; b++) {
        struct vec sum = vec(0, 0, 0);
        for (uint32_t m = r->from[b]; m < r->from[b + 1]; m++)
            sum = vec_add(sum, r->r[r->list[m]]);
        up->b[b] = sum;
    }
}

static void hand_down(const struct ladder *l, struct rung *r)
{
    const struct rung *up = r + 1;
#pragma omp parallel for num_threads(threads_for(l, r)) schedule(static)
    for (size_t i = 0; i < r->count; i++)
        r->x[i] = vec_along(r->x[i], boost, up->x[r->up[i]]);
}

void ladder_solve(struct ladder *l, const struct vec *in, struct vec *out)
{
    struct rung *bottom = &l->rung[0], *last = &l->rung[l->rungs - 1];
    memcpy(bottom->b, in, bottom->count * sizeof *in);
    for (struct rung *r = bottom; r < last && !job_cancelled(l->job); r++) {
        first_sweep(l, r);
        if (!job_cancelled(l->job))
            hand_up(l, r);
    }
    first_sweep(l, last);
    for (int i = 0; i < SWEEPS_LAST; i++)
        sweep(l, last);
    for (struct rung *r = last; r-- > bottom && !job_cancelled(l->job);) {
        hand_down(l, r);
        if (!job_cancelled(l->job))
            sweep(l, r);
    }
    memcpy(out, bottom->x, bottom->count * sizeof *out);
}

void ladder_apply(const struct ladder *l, const struct vec *in, struct vec *out)
{
    const struct rung *r = &l->rung[0];
#pragma omp parallel for num_threads(threads_for(l, r)) schedule(static)
    for (size_t i = 0; i < r->count; i++)
        out[i] = times(r, i, in);
}
