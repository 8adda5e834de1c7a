#include "scan/fuse_field.h"

#include <stdlib.h>
#include <string.h>

#include "core/job.h"
#include "scan/fuse_grid.h"

enum { LOOK = 4096 }; /* samples between two looks at the job */

/* Samples count when the angle between their direction and the nearest one's has a cosine of: */
static const float same_way = 0.2f;
/* Of less, but more than this: they lie on another face of an edge that is near. */
static const float other_face = -0.7f;
/* samples->reach: an edge's faces lie so far behind (before) each other's planes, at least. */
static const float edge_least = 0.1f;

struct worker { /* one a thread */
    const struct grid *grid;
    struct gathered near;
    float reach, beside;     /* mm */
    float best[BLOCK_CELLS]; /* squared distance to the nearest sample, more for those of little
                                weight */
    uint32_t nearest[BLOCK_CELLS];
    float sum[BLOCK_CELLS], weight[BLOCK_CELLS];
    float face_sum[BLOCK_CELLS], face_weight[BLOCK_CELLS]; /* of the edge's other face */
    float rise[BLOCK_CELLS]; /* how far the faces stand before each other's planes */
};

struct span { /* the nodes of the block that a sample reaches */
    int from[3], end[3];
    float first[3]; /* from the sample to the block's first node */
};

static bool span_of(const struct worker *w, const float corner[3], const struct fuse_sample *s,
                    struct span *out)
{
    float step = w->grid->frame.step;
    for (int d = 0; d < 3; d++) {
        out->first[d] = corner[d] - s->at[d];
        float low = ceilf((-out->first[d] - w->reach) / step);
        float high = floorf((-out->first[d] + w->reach) / step);
        out->from[d] = low < 0 ? 0 : (int)low;
        out->end[d] = high > BLOCK_SIDE - 1 ? BLOCK_SIDE : (int)high + 1;
        if (out->from[d] >= out->end[d])
            return false;
    }
    return true;
}

static void find_nearest(struct worker *w, const struct span *span, const struct fuse_sample *s,
                         uint32_t number)
{
    float step = w->grid->frame.step, more = 2 - fminf(s->weight, 1);
    float reach2 = w->reach * w->reach;
    for (int k = span->from[2]; k < span->end[2]; k++)
        for (int j = span->from[1]; j < span->end[1]; j++) {
            float z = span->first[2] + step * (float)k, y = span->first[1] + step * (float)j;
            float yz = y * y + z * z;
            for (int i = span->from[0]; i < span->end[0]; i++) {
                float x = span->first[0] + step * (float)i, d2 = x * x + yz;
                int at = k << 6 | j << 3 | i;
                if (d2 < reach2 && d2 * more < w->best[at]) {
                    w->best[at] = d2 * more;
                    w->nearest[at] = number;
                }
            }
        }
}

static float facing(const float a[3], const float b[3])
{
    return a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
}

/* Adds a sample that faces another way than the node's nearest, if it lies on the other face of an
 * edge and the node within reach of that face. */
static void add_other_face(struct worker *w, int at, const struct fuse_sample *s, float weight,
                           float off, float distance2)
{
    const struct fuse_sample *nearest = &grid_samples(w->grid)->sample[w->nearest[at]];
    float between[3], turn[3];
    if (facing(nearest->normal, s->normal) < other_face ||
        distance2 - off * off > w->beside * w->beside)
        return;
    for (int d = 0; d < 3; d++) {
        between[d] = s->at[d] - nearest->at[d];
        turn[d] = nearest->normal[d] - s->normal[d];
    }
    w->face_sum[at] += weight * off;
    w->face_weight[at] += weight;
    w->rise[at] += weight * facing(between, turn);
}

static void add_planes(struct worker *w, const struct span *span, const struct fuse_sample *s,
                       uint32_t number)
{
    (void)number;
    float step = w->grid->frame.step, per = 1 / (w->reach * w->reach);
    const struct fuse_sample *all = grid_samples(w->grid)->sample;
    for (int k = span->from[2]; k < span->end[2]; k++)
        for (int j = span->from[1]; j < span->end[1]; j++) {
            float z = span->first[2] + step * (float)k, y = span->first[1] + step * (float)j;
            float yz = y * y + z * z, away = y * s->normal[1] + z * s->normal[2];
            for (int i = span->from[0]; i < span->end[0]; i++) {
                float x = span->first[0] + step * (float)i, near = 1 - (x * x + yz) * per;
                int at = k << 6 | j << 3 | i;
                if (near <= 0)
                    continue;
                float weight = near * near * s->weight, off = away + x * s->normal[0];
                if (facing(all[w->nearest[at]].normal, s->normal) < same_way) {
                    add_other_face(w, at, s, weight, off, x * x + yz);
                    continue;
                }
                w->sum[at] += weight * off;
                w->weight[at] += weight;
            }
        }
}

/* The distance at a node. Near an edge its two faces agree on it, whichever is the nearer: the
 * solid is what lies behind both of a convex edge, and behind either of a concave one. */
static float distance_at(const struct worker *w, int at)
{
    float value = w->sum[at] / w->weight[at];
    if (!(w->face_weight[at] > 0))
        return value;
    float face = w->face_sum[at] / w->face_weight[at], rise = w->rise[at] / w->face_weight[at];
    float least = edge_least * (float)grid_samples(w->grid)->reach;
    return rise < -least ? fmaxf(value, face) : rise > least ? fminf(value, face) : value;
}

static void settle(struct worker *w, size_t block, const float corner[3])
{
    struct grid_nodes *nodes = grid_nodes(w->grid, block);
    const struct fuse_samples *samples = grid_samples(w->grid);
    for (int at = 0; at < BLOCK_CELLS; at++) {
        nodes->state[at] = 0;
        if (!(w->weight[at] > 0))
            continue;
        const struct fuse_sample *s = &samples->sample[w->nearest[at]];
        float d2 = 0, away = 0;
        for (int d = 0; d < 3; d++) {
            float x = corner[d] + samples->step * (float)(at >> 3 * d & 7) - s->at[d];
            d2 += x * x;
            away += x * s->normal[d];
        }
        if (d2 - away * away > w->beside * w->beside)
            continue;
        nodes->value[at] = distance_at(w, at);
        nodes->state[at] = NODE_KNOWN | NODE_DATA | (nodes->value[at] < 0 ? NODE_INSIDE : 0);
    }
}

/* Shows each sample near the block to `look`. A block may hold very many, where the spacing is far
 * coarser than the scans'. */
static void each_near(struct worker *w, const float corner[3], const struct job *job,
                      void (*look)(struct worker *, const struct span *, const struct fuse_sample *,
                                   uint32_t))
{
    struct span span;
    for (size_t i = 0; i < w->near.count; i++) {
        uint32_t number = w->near.sample[i];
        const struct fuse_sample *s = &grid_samples(w->grid)->sample[number];
        if (i % LOOK == 0 && job_cancelled(job))
            return;
        if (span_of(w, corner, s, &span))
            look(w, &span, s, number);
    }
}

static bool make_block(struct worker *w, size_t block, const struct job *job)
{
    struct vec place = grid_place(w->grid, (node_id)block << 9);
    const float corner[3] = {(float)place.x, (float)place.y, (float)place.z};
    if (!grid_gather(w->grid, block, w->reach, &w->near))
        return false;
    for (int at = 0; at < BLOCK_CELLS; at++)
        w->best[at] = INFINITY;
    memset(w->nearest, 0, sizeof w->nearest);
    memset(w->sum, 0, sizeof w->sum);
    memset(w->weight, 0, sizeof w->weight);
    memset(w->face_sum, 0, sizeof w->face_sum);
    memset(w->face_weight, 0, sizeof w->face_weight);
    memset(w->rise, 0, sizeof w->rise);
    each_near(w, corner, job, find_nearest);
    each_near(w, corner, job, add_planes);
    settle(w, block, corner);
    return true;
}

enum status field_make(struct grid *grid, float beside, struct job *job)
{
    bool failed = false;
#pragma omp parallel num_threads(job_threads(job)) reduction(|| : failed)
    {
        struct worker *w = scratch_new(1, sizeof *w);
        if (w)
            *w = (struct worker){.grid = grid,
                                 .reach = FIELD_REACH * (float)grid_samples(grid)->reach,
                                 .beside = beside * (float)grid_samples(grid)->reach};
        failed = !w;
#pragma omp for schedule(dynamic, 8)
        for (size_t b = 0; b < grid->count; b++)
            if (!failed && job_step(job, 1))
                failed = !make_block(w, b, job);
        if (w)
            free(w->near.sample);
        scratch_free(w);
    }
    if (failed)
        return job_fail_memory(job, sizeof(struct worker));
    return job_cancelled(job) ? job_fail_cancelled(job) : STATUS_OK;
}
