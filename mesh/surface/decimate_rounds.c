#include "surface/decimate_rounds.h"

#include <string.h>

#include "core/job.h"

static const double RATIO = 2.2;  /* by which a round reduces */
static const double LAST = 1.15;  /* and the last but one leaves so much to the last */
static const double SHARE = 0.05; /* of the triangles, that a sweep reaches for */
enum {
    RISE = 3,          /* slots (eighths of an octave) by which the threshold rises at least */
    IDLE = 3,          /* rounds with next to no collapses before it is given up */
    BY_LEAVE = 2,      /* rounds by leave: a third finds one in a hundred for as much asking */
    NEXT_TO_NONE = 500 /* within a tolerance or by leave: one triangle in so many */
};

/* --- sweeps ---------------------------------------------------------------------------------- */

static size_t split_left(const struct split *split)
{
    size_t left = 0;
    for (size_t i = 0; i < split->count; i++)
        left += split->patch[i].left;
    return left;
}

static void split_histogram(const struct split *split, uint64_t *slots, struct job *job)
{
    memset(slots, 0, COST_SLOTS * sizeof *slots);
#pragma omp parallel num_threads(job_threads(job))
    {
        uint32_t mine[COST_SLOTS] = {0};
#pragma omp for schedule(dynamic)
        for (size_t i = 0; i < split->count; i++)
            patch_histogram(&split->patch[i], mine);
#pragma omp critical
        for (int i = 0; i < COST_SLOTS; i++)
            slots[i] += mine[i];
    }
}

/* The threshold of the next sweep: the cost that SHARE of the triangles are below, but no less
 * than RISE above the last one. 0 when there is nothing left to collapse. */
static float next_threshold(const struct split *split, float last, struct job *job)
{
    uint64_t slots[COST_SLOTS], total = 0, sum = 0;
    split_histogram(split, slots, job);
    for (int i = 0; i < COST_SLOTS; i++)
        total += slots[i];
    if (!total)
        return 0;
    unsigned slot = 0, least = last > 0 ? cost_slot(last) + RISE : 0;
    while ((double)sum < SHARE * (double)total)
        sum += slots[slot++];
    slot = slot > least ? slot : least;
    return slot < cost_slot(INFINITY) ? slot_cost(slot) : INFINITY;
}

/* Gives each patch its part of `most`, by how many triangles wait in it: turns count[] into that.
 */
static void share_out(size_t *count, size_t patches, size_t most)
{
    size_t waiting = 0, given = 0;
    for (size_t i = 0; i < patches; i++)
        waiting += count[i];
    for (size_t i = 0; i < patches; i++) {
        double part = waiting ? (double)count[i] / (double)waiting : 0;
        count[i] = (size_t)(part * (double)most) & ~(size_t)1;
        given += count[i];
    }
    for (size_t i = 0; i < patches && given < most; i++, given += 2)
        count[i] += 2;
}

static enum status sweep(struct split *split, float below, size_t most, struct job *job)
{
    size_t *count = scratch_new(split->count, sizeof *count);
    if (!count)
        return job_fail_memory(job, split->count * sizeof *count);
#pragma omp parallel for num_threads(job_threads(job)) schedule(dynamic)
    for (size_t i = 0; i < split->count; i++)
        count[i] = patch_count(&split->patch[i], below);
    share_out(count, split->count, most);
#pragma omp parallel for num_threads(job_threads(job)) schedule(dynamic)
    for (size_t i = 0; i < split->count; i++)
        if (!job_cancelled(job))
            job_step(job, patch_sweep(&split->patch[i], below, count[i]));
    scratch_free(count);
    for (size_t i = 0; i < split->count; i++)
        if ((split->guard && split->guard[i].short_of_memory) ||
            (split->part && split->part[i].short_of_memory))
            return job_fail_memory(job, 64 * split->patch[i].triangles);
    return job_cancelled(job) ? job_fail_cancelled(job) : STATUS_OK;
}

/* --- rounds ---------------------------------------------------------------------------------- */

static size_t round_target(size_t triangles, size_t to)
{
    double most = (double)to * LAST, part = (double)triangles / RATIO;
    if ((double)triangles <= most * 1.1)
        return to;
    return (size_t)(part > most * 1.1 ? part : most);
}

static enum status run_sweeps(struct split *split, size_t target, struct job *job)
{
    enum status status = STATUS_OK;
    float below = 0;
    for (size_t left = split_left(split); status == STATUS_OK && left > target;) {
        below = next_threshold(split, below, job);
        if (!(below > 0))
            break;
        status = sweep(split, below, left - target, job);
        left = split_left(split);
    }
    return status;
}

static enum status run_round(const struct rounds *r, unsigned round, bool *alone)
{
    struct split split;
    const struct surface *s = r->surface;
    size_t target = s->judge ? r->to : round_target(s->triangles, r->to);
    enum status status = split_make(&split, r->surface, round, r->keep_rim, r->job);
    if (status != STATUS_OK)
        return status;
    *alone = split.count == 1;
    status = run_sweeps(&split, target, r->job);
    if (status == STATUS_OK)
        status = split_join(&split, r->surface, r->job);
    split_release(&split);
    return status;
}

enum status rounds_run(const struct rounds *r)
{
    struct surface *s = r->surface;
    enum status status = STATUS_OK;
    unsigned idle = 0;
    bool asked = s->tolerance || s->judge;
    if (s->triangles <= r->to)
        return STATUS_OK;
    job_phase(r->job, "collapsing edges", r->share, s->triangles - r->to);
    for (unsigned round = 0; status == STATUS_OK && s->triangles > r->to; round++) {
        size_t before = s->triangles;
        bool alone = false;
        status = run_round(r, round, &alone);
        size_t gone = before - s->triangles;
        if (s->judge && round + 1 == BY_LEAVE)
            break;
        idle = gone > (asked ? before / NEXT_TO_NONE : 0) ? 0 : idle + 1;
        if (idle == (asked ? 1 : IDLE) || (idle && alone))
            break;
    }
    return status;
}
