#include "scan/fuse_facing.h"

#include <stdlib.h>
#include <string.h>

#include "core/job.h"

/* Samples closer than this (samples->reach) and so nearly parallel, one way or the other, compare.
 * Those that face opposite ways and are off each other's plane by more than the other are the two
 * sides of a thin wall, and agree. */
static const float near_enough = 1, one_plane = 0.4f;
static const float parallel = 0.5f;

/* Two pieces that are one surface agree or contradict each other nearly everywhere. Where less than
 * this share of what is compared tells them apart they are the two sides of a wall about as thin as
 * that limit, or meet in edges alone, where normals are smeared: nothing follows. */
static const double clearly = 0.5;

/* A group is closed when its normals add up to less than this share of its area. */
static const double closed_share = 0.15;

/* So many of a group's samples say clearly which way it faces. */
static const double most_share = 0.6;

enum { BLOCK = 4096 };
enum { TRIES = 100000, ENOUGH = 1000 }; /* samples compared; others each is compared with */

struct votes {
    int64_t sum, count; /* agreeing less disagreeing neighbours; all of them */
};

struct facing {
    struct fuse_samples *samples;
    const struct grid *grid;
    size_t pieces, step; /* every step-th sample is compared */
    struct votes *votes; /* pieces x pieces */
    uint8_t *turned;
    uint32_t *group;
    struct job *job;
};

static void compare_block(const struct facing *f, size_t block, const struct gathered *near,
                          struct votes *votes)
{
    const struct fuse_samples *all = f->samples;
    size_t step = near->count / ENOUGH + 1;
    float reach2 = near_enough * (float)all->reach * near_enough * (float)all->reach;
    for (uint32_t i = grid_block(f->grid, block)->first; i < grid_block(f->grid, block)->end; i++) {
        if (i % f->step || all->mixed[i])
            continue;
        const struct fuse_sample *s = all->sample + i;
        for (size_t k = i % step; k < near->count; k += step) {
            uint32_t j = near->sample[k];
            const struct fuse_sample *o = all->sample + j;
            float x = o->at[0] - s->at[0], y = o->at[1] - s->at[1], z = o->at[2] - s->at[2];
            if (all->piece[i] == all->piece[j] || x * x + y * y + z * z > reach2 || all->mixed[j])
                continue;
            float dot = o->normal[0] * s->normal[0] + o->normal[1] * s->normal[1] +
                        o->normal[2] * s->normal[2];
            float off = x * s->normal[0] + y * s->normal[1] + z * s->normal[2];
            bool agree = dot > 0 || fabsf(off) > one_plane * (float)all->reach;
            if (fabsf(dot) > parallel) {
                struct votes *v = &votes[all->piece[i] * f->pieces + all->piece[j]];
                v->sum += agree ? 1 : -1;
                v->count++;
            }
        }
    }
}

/* Whole numbers: their sum is the same in whatever order threads add them. */
static enum status vote(struct facing *f)
{
    bool failed = false;
    size_t cells = f->pieces * f->pieces;
    memset(f->votes, 0, cells * sizeof *f->votes);
#pragma omp parallel num_threads(job_threads(f->job)) reduction(|| : failed)
    {
        struct gathered near = {0};
        struct votes *mine = calloc(cells, sizeof *mine);
        failed = !mine;
#pragma omp for schedule(dynamic, 8)
        for (size_t b = 0; b < f->grid->count; b++) {
            if (failed || job_cancelled(f->job) ||
                grid_block(f->grid, b)->first == grid_block(f->grid, b)->end)
                continue;
            failed = !grid_gather(f->grid, b, near_enough * (float)f->samples->reach, &near);
            if (!failed)
                compare_block(f, b, &near, mine);
        }
#pragma omp critical
        for (size_t i = 0; i < cells && mine; i++)
            f->votes[i] =
                (struct votes){f->votes[i].sum + mine[i].sum, f->votes[i].count + mine[i].count};
        free(near.sample);
        free(mine);
    }
    return failed ? job_fail_memory(f->job, cells * sizeof *f->votes) : STATUS_OK;
}

struct tie {       /* of a piece that has no group yet to those that have */
    int64_t votes; /* the strongest */
    uint32_t to;
};

/* What two pieces say of each other, or 0. */
static int64_t votes_between(const struct facing *f, size_t i, size_t j)
{
    const struct votes *a = &f->votes[i * f->pieces + j], *b = &f->votes[j * f->pieces + i];
    int64_t sum = a->sum + b->sum;
    return (double)llabs(sum) > clearly * (double)(a->count + b->count) ? sum : 0;
}

static size_t strongest(const struct facing *f, const struct tie *tie)
{
    size_t best = f->pieces;
    for (size_t i = 0; i < f->pieces; i++)
        if (f->group[i] == NO_INDEX &&
            (best == f->pieces || llabs(tie[i].votes) > llabs(tie[best].votes)))
            best = i;
    return best;
}

/* Joins the pieces into groups by their strongest votes (Prim's tree); each faces as its group's
 * first does. */
static void join_groups(struct facing *f, struct tie *tie)
{
    size_t n = f->pieces;
    memset(tie, 0, n * sizeof *tie);
    memset(f->group, 255, n * sizeof *f->group);
    for (size_t left = n; left; left--) {
        size_t next = strongest(f, tie);
        bool first = tie[next].votes == 0;
        f->group[next] = first ? (uint32_t)next : f->group[tie[next].to];
        f->turned[next] = !first && f->turned[tie[next].to] != (tie[next].votes < 0);
        for (size_t i = 0; i < n; i++) {
            int64_t votes = votes_between(f, i, next);
            if (f->group[i] == NO_INDEX && llabs(votes) > llabs(tie[i].votes))
                tie[i] = (struct tie){votes, (uint32_t)next};
        }
    }
}

struct tally {           /* of a group, its normals taken as turned */
    double kept, turned; /* samples */
    double area;
    struct vec middle, sum;
    double outward; /* of area * normal . (place - middle) */
};

static double sign_of(const struct facing *f, size_t i)
{
    return f->turned[f->samples->piece[i]] ? -1 : 1;
}

static struct vec from_floats(const float a[3])
{
    return vec((double)a[0], (double)a[1], (double)a[2]);
}

static void tally_all(const struct facing *f, struct tally *tally)
{
    const struct fuse_samples *s = f->samples;
    memset(tally, 0, f->pieces * sizeof *tally);
    for (size_t i = 0; i < s->count && !(i % BLOCK == 0 && job_cancelled(f->job)); i++) {
        struct tally *t = tally + f->group[s->piece[i]];
        double area = (double)s->sample[i].area;
        *(f->turned[s->piece[i]] ? &t->turned : &t->kept) += 1;
        t->area += area;
        t->middle = vec_along(t->middle, area, from_floats(s->sample[i].at));
        t->sum = vec_along(t->sum, area * sign_of(f, i), from_floats(s->sample[i].normal));
    }
    for (size_t i = 0; i < s->count && !(i % BLOCK == 0 && job_cancelled(f->job)); i++) {
        struct tally *t = tally + f->group[s->piece[i]];
        struct vec away = vec_along(from_floats(s->sample[i].at), -1 / t->area, t->middle);
        t->outward += (double)s->sample[i].area * sign_of(f, i) *
                      vec_dot(away, from_floats(s->sample[i].normal));
    }
}

/* Of a group that is closed, what faces outward is right; of another, what most samples say, if
 * they are clearly more. */
static bool stands_wrong(const struct tally *t)
{
    double more = fmax(t->turned, t->kept) / (t->turned + t->kept);
    if (vec_length(t->sum) < closed_share * t->area || more < most_share)
        return t->outward < 0;
    return t->turned > t->kept;
}

static enum status decide(struct facing *f)
{
    struct tally *tally = scratch_new(f->pieces, sizeof *tally);
    struct tie *tie = scratch_new(f->pieces, sizeof *tie);
    if (!tally || !tie) {
        scratch_free(tally);
        scratch_free(tie);
        return job_fail_memory(f->job, f->pieces * sizeof *tally);
    }
    join_groups(f, tie);
    scratch_free(tie);
    tally_all(f, tally);
    for (size_t i = 0; i < f->pieces; i++)
        if (stands_wrong(tally + f->group[i]))
            f->turned[i] ^= 1;
    scratch_free(tally);
    for (size_t i = 0; i < f->samples->count; i++)
        for (int d = 0; d < 3 && f->turned[f->samples->piece[i]]; d++)
            f->samples->sample[i].normal[d] *= -1;
    return STATUS_OK;
}

enum status facing_agree(struct fuse_samples *samples, const struct grid *grid, size_t pieces,
                         uint8_t *turned, struct job *job)
{
    struct facing f = {samples, grid, pieces, samples->count / TRIES + 1, NULL, turned, NULL, job};
    f.votes = scratch_new(pieces * pieces, sizeof *f.votes);
    f.group = scratch_new(pieces, sizeof *f.group);
    memset(turned, 0, pieces);
    enum status status =
        f.votes && f.group ? vote(&f) : job_fail_memory(job, pieces * pieces * sizeof *f.votes);
    if (status == STATUS_OK)
        status = decide(&f);
    if (status == STATUS_OK && job_cancelled(job))
        status = job_fail_cancelled(job);
    scratch_free(f.votes);
    scratch_free(f.group);
    return status;
}
