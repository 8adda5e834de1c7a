#include "scan/fuse_weak.h"

#include <string.h>

#include "core/job.h"
#include "scan/fuse_bins.h"
#include "scan/fuse_grid.h"

enum { BLOCK = 16384 };

/* A sample within so many times samples->reach, */
static const float near_by = 1.5f;
/* no farther before or behind than this, */
static const float level = 0.75f;
/* whose direction has this cosine to the net's, supports a vertex. */
static const float alike = 0.5f;

/* The mean direction of the quads around each vertex, by their areas. */
static enum status find_normals(struct net *net, struct job *job)
{
    memset(net->normal, 0, net->vertices * sizeof *net->normal);
    for (size_t q = 0; q < net->quads; q++) {
        const uint32_t *v = net->quad[q];
        struct vec at[4];
        if (q % BLOCK == 0 && job_cancelled(job))
            return job_fail_cancelled(job);
        for (int k = 0; k < 4; k++)
            at[k] = point_vec(net->at[v[k]]);
        struct vec n = vec_cross(vec_sub(at[2], at[0]), vec_sub(at[3], at[1]));
        for (int k = 0; k < 4; k++)
            net->normal[v[k]] = vec_point(vec_add(point_vec(net->normal[v[k]]), n));
    }
    return STATUS_OK;
}

static bool is_weak(struct bins *bins, const struct net *net, size_t v)
{
    float at[3], n[3], nearest2, most = level * (float)grid_samples(net->grid)->reach;
    uint32_t nearest;
    floats_of(at, point_vec(net->at[v]));
    floats_of(n, vec_unit(point_vec(net->normal[v])));
    size_t count = bins_near(bins, at, &nearest, &nearest2);
    for (size_t i = 0; i < count; i++) {
        const struct fuse_close *c = bins->close + i;
        const struct fuse_sample *s = bins->sample + c->at;
        float off = c->x * s->normal[0] + c->y * s->normal[1] + c->z * s->normal[2];
        if (bins_facing(s, n) > alike && fabsf(off) < most)
            return false;
    }
    return true;
}

enum status weak_find(struct net *net, uint8_t *weak, struct job *job)
{
    bool failed = false;
    enum status status = find_normals(net, job);
    if (status != STATUS_OK)
        return status;
#pragma omp parallel num_threads(job_threads(job)) reduction(|| : failed)
    {
        struct bins *bins = bins_new(net->grid, near_by * (float)grid_samples(net->grid)->reach);
        failed = !bins;
#pragma omp for schedule(dynamic, 4)
        for (size_t b = 0; b < net->grid->count; b++) {
            size_t from = net->block[b].base, end = net->block[b + 1].base;
            if (failed || job_cancelled(job) || from == end)
                continue;
            failed = !bins_fill(bins, b);
            for (size_t v = from; v < end && !failed && !job_cancelled(job); v++)
                weak[v] = is_weak(bins, net, v);
        }
        bins_free(bins);
    }
    if (failed)
        return job_fail_memory(job, sizeof(struct bins));
    return job_cancelled(job) ? job_fail_cancelled(job) : STATUS_OK;
}
