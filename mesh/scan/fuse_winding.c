#include "scan/fuse_winding.h"

#include <stdlib.h>

#include "core/job.h"
#include "scan/fuse_grid.h"

/* So many samples around are enough to say how often a place was seen. */
enum { ENOUGH = 1000 };

static const float far_off = 2.2f;

/* --- shares ---------------------------------------------------------------------------------- */

/* Where scans overlap, the area around a sample adds up to more than the disc's: each counts that
 * much less. At a rim it adds up to less, and nothing is missing. */
static void share_block(const struct grid *grid, size_t block, const struct gathered *near,
                        float radius, float *share)
{
    const struct fuse_sample *all = grid_samples(grid)->sample;
    size_t step = near->count / ENOUGH + 1;
    float radius2 = radius * radius, disc = 3.14159265f * radius2;
    for (uint32_t i = grid_block(grid, block)->first; i < grid_block(grid, block)->end; i++) {
        const struct fuse_sample *s = all + i;
        float area = 0;
        for (size_t k = i % step; k < near->count; k += step) {
            const struct fuse_sample *o = all + near->sample[k];
            float x = o->at[0] - s->at[0], y = o->at[1] - s->at[1], z = o->at[2] - s->at[2];
            bool in = x * x + y * y + z * z < radius2 && o->normal[0] * s->normal[0] +
                                                                 o->normal[1] * s->normal[1] +
                                                                 o->normal[2] * s->normal[2] >
                                                             0;
            area += in ? o->area : 0;
        }
        area *= (float)step;
        share[i] = area > disc ? disc / area : 1;
    }
}

static enum status make_shares(const struct grid *grid, float *share, struct job *job)
{
    bool failed = false;
    float radius = 1.5f * (float)grid_samples(grid)->reach;
#pragma omp parallel num_threads(job_threads(job)) reduction(|| : failed)
    {
        struct gathered near = {0};
#pragma omp for schedule(dynamic, 8)
        for (size_t b = 0; b < grid->count; b++) {
            if (failed || job_cancelled(job) ||
                grid_block(grid, b)->first == grid_block(grid, b)->end)
                continue;
            failed = !grid_gather(grid, b, radius, &near);
            if (!failed)
                share_block(grid, b, &near, radius, share);
        }
        free(near.sample);
    }
    return failed ? job_fail_memory(job, 1) : STATUS_OK;
}

/* --- bundles --------------------------------------------------------------------------------- */

static float distance(const float a[3], const float b[3])
{
    float x = a[0] - b[0], y = a[1] - b[1], z = a[2] - b[2];
    return sqrtf(x * x + y * y + z * z);
}

static struct winding_node bundle_samples(const struct winding *w, size_t from, size_t end)
{
    struct winding_node node = {{0}, 0, {0}};
    const struct fuse_sample *sample = w->samples->sample;
    double middle[3] = {0}, dipole[3] = {0};
    for (size_t i = from; i < end; i++)
        for (int d = 0; d < 3; d++) {
            middle[d] += (double)sample[i].at[d] / (double)(end - from);
            dipole[d] += (double)(sample[i].area * w->share[i] * sample[i].normal[d]);
        }
    for (int d = 0; d < 3; d++) {
        node.middle[d] = (float)middle[d];
        node.dipole[d] = (float)dipole[d];
    }
    for (size_t i = from; i < end; i++)
        node.radius = fmaxf(node.radius, distance(sample[i].at, node.middle));
    return node;
}

static struct winding_node bundle_nodes(const struct winding_node *child, size_t count)
{
    struct winding_node node = {{0}, 0, {0}};
    double middle[3] = {0}, dipole[3] = {0};
    for (size_t i = 0; i < count; i++)
        for (int d = 0; d < 3; d++) {
            middle[d] += (double)child[i].middle[d] / (double)count;
            dipole[d] += (double)child[i].dipole[d];
        }
    for (int d = 0; d < 3; d++) {
        node.middle[d] = (float)middle[d];
        node.dipole[d] = (float)dipole[d];
    }
    for (size_t i = 0; i < count; i++)
        node.radius = fmaxf(node.radius, distance(child[i].middle, node.middle) + child[i].radius);
    return node;
}

static enum status make_level(struct winding *w, size_t below, struct job *job)
{
    int l = w->levels;
    size_t fan = l ? WINDING_FAN : WINDING_LEAF, count = (below + fan - 1) / fan;
    w->level[l] = scratch_new(count, sizeof *w->level[l]);
    w->count[l] = count;
    if (!w->level[l])
        return job_fail_memory(job, count * sizeof *w->level[l]);
    w->levels++;
#pragma omp parallel for num_threads(job_threads(job)) schedule(static)
    for (size_t i = 0; i < count; i++) {
        size_t from = i * fan, end = from + fan < below ? from + fan : below;
        if (!job_cancelled(job))
            w->level[l][i] =
                l ? bundle_nodes(w->level[l - 1] + from, end - from) : bundle_samples(w, from, end);
    }
    return STATUS_OK;
}

void winding_release(struct winding *w)
{
    scratch_free(w->share);
    for (int l = 0; l < WINDING_LEVELS; l++)
        scratch_free(w->level[l]);
    *w = (struct winding){0};
}

/* --- asking ---------------------------------------------------------------------------------- */

static float solid_angle(const float away[3], const float dipole[3])
{
    float r2 = away[0] * away[0] + away[1] * away[1] + away[2] * away[2];
    if (!(r2 > 0))
        return 0;
    return (away[0] * dipole[0] + away[1] * dipole[1] + away[2] * dipole[2]) / (r2 * sqrtf(r2));
}

static double leaf_angle(const struct winding *w, size_t leaf, const float at[3])
{
    size_t end = (leaf + 1) * WINDING_LEAF;
    float sum = 0;
    for (size_t i = leaf * WINDING_LEAF; i < end && i < w->samples->count; i++) {
        const struct fuse_sample *s = w->samples->sample + i;
        const float away[3] = {s->at[0] - at[0], s->at[1] - at[1], s->at[2] - at[2]};
        sum += solid_angle(away, s->normal) * s->area * w->share[i];
    }
    return (double)sum;
}

double winding_at(const struct winding *w, struct vec place)
{
    const float at[3] = {(float)place.x, (float)place.y, (float)place.z};
    struct {
        int level;
        size_t node;
    } stack[WINDING_FAN * WINDING_LEVELS];
    int depth = 1;
    stack[0].level = w->levels - 1;
    stack[0].node = 0;
    double sum = 0;
    while (depth) {
        int l = stack[--depth].level;
        size_t n = stack[depth].node;
        const struct winding_node *node = w->level[l] + n;
        const float away[3] = {node->middle[0] - at[0], node->middle[1] - at[1],
                               node->middle[2] - at[2]};
        float r2 = away[0] * away[0] + away[1] * away[1] + away[2] * away[2];
        if (r2 > far_off * far_off * node->radius * node->radius)
            sum += (double)solid_angle(away, node->dipole);
        else if (l == 0)
            sum += leaf_angle(w, n, at);
        else
            for (size_t c = n * WINDING_FAN; c < (n + 1) * WINDING_FAN; c++)
                if (c < w->count[l - 1]) {
                    stack[depth].level = l - 1;
                    stack[depth++].node = c;
                }
    }
    return sum / 12.566370614359172;
}

/* --- the threshold --------------------------------------------------------------------------- */

enum { LOOKS = 4096 };

/* Of samples all round 1/2 is wound; of those that leave one side open, a box without its bottom,
 * say, about 0.4. From there down the threshold follows the mean, to its least. */
static const double open_mean = 0.38, open_span = 0.08, inside_least = 0.3, inside_most = 0.5;

static double threshold(double mean)
{
    double open = fmin(fmax((open_mean - mean) / open_span, 0), 1);
    return inside_most + open * (inside_least - inside_most);
}

/* The mean of what a little before and behind the surface is wound: at the sample itself others,
 * very near, would have too much to say. */
static double around_sample(const struct winding *w, const struct fuse_sample *s)
{
    struct vec at = vec((double)s->at[0], (double)s->at[1], (double)s->at[2]);
    struct vec n = vec((double)s->normal[0], (double)s->normal[1], (double)s->normal[2]);
    double away = w->samples->reach;
    return (winding_at(w, vec_along(at, away, n)) + winding_at(w, vec_along(at, -away, n))) / 2;
}

/* Over samples spread evenly. */
static enum status choose_inside(struct winding *w, struct job *job)
{
    size_t step = w->samples->count / LOOKS + 1, looks = (w->samples->count + step - 1) / step;
    double *around = scratch_new(looks, sizeof *around), sum = 0;
    if (!around)
        return job_fail_memory(job, looks * sizeof *around);
#pragma omp parallel for num_threads(job_threads(job)) schedule(dynamic, 64)
    for (size_t i = 0; i < looks; i++) {
        if (!job_cancelled(job))
            around[i] = around_sample(w, &w->samples->sample[i * step]);
    }
    for (size_t i = 0; i < looks && !job_cancelled(job); i++)
        sum += around[i];
    scratch_free(around);
    w->inside = threshold(sum / (double)looks);
    return job_cancelled(job) ? job_fail_cancelled(job) : STATUS_OK;
}

enum status winding_make(const struct grid *grid, struct winding *out, struct job *job)
{
    size_t count = grid_samples(grid)->count;
    *out = (struct winding){.samples = grid_samples(grid)};
    out->share = scratch_new(count, sizeof *out->share);
    enum status status = out->share ? make_shares(grid, out->share, job)
                                    : job_fail_memory(job, count * sizeof *out->share);
    for (size_t below = count; status == STATUS_OK && (out->levels == 0 || below > 1);) {
        status = make_level(out, below, job);
        below = out->levels ? out->count[out->levels - 1] : 0;
    }
    if (status == STATUS_OK && job_cancelled(job))
        status = job_fail_cancelled(job);
    if (status == STATUS_OK)
        status = choose_inside(out, job);
    if (status != STATUS_OK)
        winding_release(out);
    return status;
}
