#include "scan/fuse_fit.h"

#include <string.h>

#include "core/job.h"
#include "scan/fuse_bins.h"
#include "scan/fuse_grid.h"
#include "scan/fuse_height.h"

enum { QUADRIC_LEAST = 9, PLANE_LEAST = 4 };

/* In units of samples->reach: how far samples count; how near one must be for the vertex to be
 * measured, surely or if the samples are not all to one side; how far colours count. */
static const float fit_reach = 2.6f, near_surely = 0.3f, near_enough = 1.4f, colour_reach = 1.4f;

/* The samples' mean is off by 0.29 of the reach at a straight rim, by more beyond it. */
static const double off_side = 0.34;

/* Cosine: samples that face farther away are of another sheet. */
static const float other_sheet = -0.3f;

/* Cosine of the angle between normals from which on they do not count. */
static const float turned_away = 0.6f;

/* What is so many times the root mean square off counts for little. */
static const double outlying = 3.5;

static const double bend_ridge = 1e-5;

/* --- one vertex ------------------------------------------------------------------------------ */

struct vertex {
    float at[3];
    struct vec normal, u, v;
    size_t count; /* of close samples */
    uint32_t nearest;
    float nearest2; /* squared distance */
};

static float same_weight(const struct fuse_sample *s, const float n[3])
{
    float away = (1 - bins_facing(s, n)) / (1 - turned_away);
    return away >= 1 ? 0 : (1 - away) * (1 - away);
}

/* The mean direction of those that face about as the nearest one does. */
static void find_normal(const struct bins *w, struct vertex *p)
{
    float n[3];
    memcpy(n, w->sample[p->nearest].normal, sizeof n);
    for (int pass = 0; pass < 2; pass++) {
        float sum[3] = {0};
        for (size_t i = 0; i < p->count; i++) {
            const struct fuse_sample *s = w->sample + w->close[i].at;
            float weight = w->close[i].weight * same_weight(s, n);
            for (int d = 0; d < 3; d++)
                sum[d] += weight * s->normal[d];
        }
        p->normal = vec_unit(vec((double)sum[0], (double)sum[1], (double)sum[2]));
        floats_of(n, p->normal);
    }
    vec_frame(p->normal, &p->u, &p->v);
}

/* Turns the close samples into the vertex's frame, leaves out those that face elsewhere. */
static void turn_close(struct bins *w, struct vertex *p)
{
    float n[3], u[3], v[3];
    floats_of(n, p->normal);
    floats_of(u, p->u);
    floats_of(v, p->v);
    size_t kept = 0;
    for (size_t i = 0; i < p->count; i++) {
        struct fuse_close c = w->close[i];
        float same = same_weight(w->sample + c.at, n);
        if (same <= 0)
            continue;
        w->close[kept++] = (struct fuse_close){
            c.x * u[0] + c.y * u[1] + c.z * u[2], c.x * v[0] + c.y * v[1] + c.z * v[2],
            c.x * n[0] + c.y * n[1] + c.z * n[2], c.weight * same, c.at};
    }
    p->count = kept;
}

static bool solve(const struct bins *w, const struct vertex *p, double c[HEIGHT_TERMS])
{
    struct height_sums sums = {{0}, {0}};
    double per = 1 / (double)w->reach;
    for (size_t i = 0; i < p->count; i++) {
        const struct fuse_close *s = w->close + i;
        height_add(&sums, (double)s->x * per, (double)s->y * per, (double)s->z, (double)s->weight);
    }
    return (p->count >= QUADRIC_LEAST && height_solve(&sums, 6, bend_ridge, c)) ||
           (p->count >= PLANE_LEAST && height_solve(&sums, 3, 0, c)) ||
           height_solve(&sums, 1, 0, c);
}

/* Takes weight from samples that lie far off the quadric; false when none does. */
static bool reweigh(struct bins *w, const struct vertex *p, const double c[HEIGHT_TERMS])
{
    double sum = 0, weight = 0, worst = 0, per = 1 / (double)w->reach;
    for (size_t i = 0; i < p->count; i++) {
        struct fuse_close *s = w->close + i;
        double off = (double)s->z - height_at(c, (double)s->x * per, (double)s->y * per);
        sum += (double)s->weight * off * off;
        weight += (double)s->weight;
        worst = fmax(worst, fabs(off));
    }
    double limit = outlying * sqrt(sum / weight);
    if (!(worst > limit) || p->count < QUADRIC_LEAST)
        return false;
    for (size_t i = 0; i < p->count; i++) {
        struct fuse_close *s = w->close + i;
        double off = (double)s->z - height_at(c, (double)s->x * per, (double)s->y * per);
        double far = off / limit * (off / limit);
        s->weight *= (float)(1 / (1 + far * far));
    }
    return true;
}

/* Whether samples are near, and not all to one side; those round an edge count as well. Before the
 * samples are turned. */
static bool is_measured(const struct bins *w, const struct vertex *p)
{
    double weight = 0, reach = grid_samples(w->grid)->reach;
    float per = 1 / (w->reach * w->reach), n[3];
    struct vec sum = vec(0, 0, 0);
    floats_of(n, p->normal);
    if ((double)p->nearest2 <= (double)(near_surely * near_surely) * reach * reach)
        return true;
    for (size_t i = 0; i < p->count; i++) {
        const struct fuse_close *s = w->close + i;
        float near = 1 - (s->x * s->x + s->y * s->y + s->z * s->z) * per;
        if (bins_facing(w->sample + s->at, n) < other_sheet)
            continue;
        double word = (double)(near * near);
        sum = vec_along(sum, word, vec((double)s->x, (double)s->y, (double)s->z));
        weight += word;
    }
    double u = vec_dot(sum, p->u), v = vec_dot(sum, p->v);
    return (double)p->nearest2 <= (double)(near_enough * near_enough) * reach * reach &&
           hypot(u, v) <= off_side * weight * (double)w->reach;
}

/* The mean of the colours around, each by its word. */
static bool mix_colour(const struct bins *w, const struct vertex *p, uint8_t out[4])
{
    const struct fuse_colour *colour = grid_samples(w->grid)->colour;
    float reach = colour_reach * (float)grid_samples(w->grid)->reach, sum[4] = {0}, total = 0;
    for (size_t i = 0; i < p->count; i++) {
        const struct fuse_close *s = w->close + i;
        const struct fuse_colour *c = colour + w->number[s->at];
        float near = 1 - (s->x * s->x + s->y * s->y + s->z * s->z) / (reach * reach);
        float weight = near > 0 ? near * near * c->weight : 0;
        for (int k = 0; k < 4; k++)
            sum[k] += weight * (float)c->rgba[k];
        total += weight;
    }
    for (int k = 0; k < 4 && total > 0; k++)
        out[k] = (uint8_t)(sum[k] / total + 0.5f);
    return total > 0;
}

static void fit_vertex(struct bins *w, struct net *net, size_t number)
{
    struct vec start = point_vec(net->at[number]);
    struct vertex p = {.count = 0};
    double c[HEIGHT_TERMS];
    floats_of(p.at, start);
    net->trust[number] = TRUST_NONE;
    net->normal[number] = (struct point){0, 0, 0};
    if (net->colour)
        memset(net->colour[number], 0, 4);
    p.count = bins_near(w, p.at, &p.nearest, &p.nearest2);
    if (p.count == 0)
        return;
    find_normal(w, &p);
    bool measured = is_measured(w, &p);
    turn_close(w, &p);
    if (!measured || !solve(w, &p, c))
        return;
    if (reweigh(w, &p, c))
        solve(w, &p, c);
    double most = (double)net->grid->frame.step, per = 1 / (double)w->reach;
    double height = fmin(fmax(c[0], -most), most);
    struct vec slope = vec_along(vec_scale(p.u, c[1] * per), c[2] * per, p.v);
    net->at[number] = vec_point(vec_along(start, height, p.normal));
    net->normal[number] = vec_point(vec_unit(vec_sub(p.normal, slope)));
    net->trust[number] = TRUST_MEASURED;
    if (net->colour && mix_colour(w, &p, net->colour[number]))
        net->trust[number] = TRUST_COLOURED;
}

/* --- all of them ----------------------------------------------------------------------------- */

enum status fit_net(struct net *net, struct job *job)
{
    bool failed = false;
#pragma omp parallel num_threads(job_threads(job)) reduction(|| : failed)
    {
        struct bins *w = bins_new(net->grid, fit_reach * (float)grid_samples(net->grid)->reach);
        failed = !w;
#pragma omp for schedule(dynamic, 4)
        for (size_t b = 0; b < net->grid->count; b++) {
            size_t from = net->block[b].base, end = net->block[b + 1].base;
            if (failed || !job_step(job, 1) || from == end)
                continue;
            failed = !bins_fill(w, b);
            for (size_t v = from; v < end && !failed && !job_cancelled(job); v++)
                fit_vertex(w, net, v);
        }
        bins_free(w);
    }
    if (failed)
        return job_fail_memory(job, sizeof(struct bins));
    return job_cancelled(job) ? job_fail_cancelled(job) : STATUS_OK;
}
