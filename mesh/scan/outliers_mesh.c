/* Ratios of a mesh's vertices, from the lengths of edges. */
#include "core/buckets.h"
#include "core/job.h"
#include "core/topology.h"
#include "scan/outliers_parts.h"

enum { BLOCK = 4096, RING = 64 }; /* of larger rings the first so many are asked */

struct edges {
    const struct mesh *mesh;
    struct buckets corner;
    double *sum;  /* one a vertex: the lengths of the sides that meet there, of each triangle two */
    float *ratio; /* one a vertex: its logarithm; -INFINITY where there is none */
    struct job *job;
};

struct other { /* a vertex of the ring */
    uint32_t vertex;
    unsigned sides; /* triangles that share the edge to it */
    double length;
};

static double side(const struct mesh *mesh, uint32_t a, uint32_t b)
{
    return vec_length(vec_sub(point_vec(mesh_point(mesh)[a]), point_vec(mesh_point(mesh)[b])));
}

static size_t corners(const struct edges *e, size_t v)
{
    return e->corner.start[v + 1] - e->corner.start[v];
}

static void add_up(const struct edges *e, size_t v)
{
    const struct triangle *triangle = mesh_triangle(e->mesh);
    double sum = 0;
    for (uint32_t i = e->corner.start[v]; i < e->corner.start[v + 1]; i++) {
        uint32_t h = e->corner.half[i];
        sum += side(e->mesh, (uint32_t)v, half_to(triangle, h));
        sum += side(e->mesh, (uint32_t)v, half_from(triangle, half_prev(h)));
    }
    e->sum[v] = sum;
}

static size_t add_other(struct other *ring, size_t n, uint32_t vertex, double length)
{
    for (size_t i = 0; i < n; i++)
        if (ring[i].vertex == vertex) {
            ring[i].sides++;
            return n;
        }
    if (n == RING)
        return n;
    ring[n] = (struct other){vertex, 1, length};
    return n + 1;
}

static size_t ring_of(const struct edges *e, uint32_t v, struct other ring[RING])
{
    const struct triangle *triangle = mesh_triangle(e->mesh);
    size_t n = 0;
    for (uint32_t i = e->corner.start[v]; i < e->corner.start[v + 1]; i++) {
        uint32_t h = e->corner.half[i];
        const uint32_t end[2] = {half_to(triangle, h), half_from(triangle, half_prev(h))};
        for (int k = 0; k < 2; k++)
            if (end[k] != v)
                n = add_other(ring, n, end[k], side(e->mesh, v, end[k]));
    }
    return n;
}

/* The median of the ring's mean lengths of sides that do not lead to v; 0 when there is none. */
static double usual_length(const struct edges *e, const struct other *ring, size_t n)
{
    double length[RING];
    size_t kept = 0;
    for (size_t i = 0; i < n; i++) {
        size_t sides = 2 * corners(e, ring[i].vertex) - ring[i].sides;
        double mean = (e->sum[ring[i].vertex] - ring[i].sides * ring[i].length) / (double)sides;
        size_t at = kept++;
        for (; at > 0 && length[at - 1] > mean; at--)
            length[at] = length[at - 1];
        length[at] = mean;
    }
    return kept ? length[kept / 2] : 0;
}

static void judge(const struct edges *e, size_t v)
{
    struct other ring[RING];
    double own = e->sum[v] / (2 * (double)corners(e, v));
    double usual = usual_length(e, ring, ring_of(e, (uint32_t)v, ring));
    e->ratio[v] = corners(e, v) && usual > 0 && own > 0 ? (float)log(own / usual) : -INFINITY;
}

static enum status each_vertex(const struct edges *e, void (*visit)(const struct edges *, size_t))
{
    size_t count = mesh_vertices(e->mesh);
#pragma omp parallel for num_threads(job_threads(e->job)) schedule(dynamic)
    for (size_t from = 0; from < count; from += BLOCK)
        if (job_step(e->job, BLOCK))
            for (size_t v = from; v < count && v < from + BLOCK; v++)
                visit(e, v);
    return job_cancelled(e->job) ? job_fail_cancelled(e->job) : STATUS_OK;
}

static enum status find(const struct edges *e, double sigma, uint8_t *keep, double *factor)
{
    size_t count = mesh_vertices(e->mesh);
    double limit = 0;
    job_phase(e->job, "measuring edges", 400, count);
    enum status status = each_vertex(e, add_up);
    job_phase(e->job, "looking for stray points", 500, count);
    if (status == STATUS_OK)
        status = each_vertex(e, judge);
    if (status == STATUS_OK)
        status = outliers_limit(e->ratio, count, sigma, &limit, e->job);
    for (size_t v = 0; v < count && status == STATUS_OK; v++)
        keep[v] = (double)e->ratio[v] <= limit;
    *factor = exp(limit);
    return status;
}

enum status outliers_in_mesh(const struct mesh *mesh, double sigma, uint8_t *keep, double *factor,
                             struct job *job)
{
    size_t count = mesh_vertices(mesh);
    struct edges e = {.mesh = mesh, .job = job};
    enum status status = buckets_make(mesh, BUCKET_FROM, &e.corner, job);
    if (status != STATUS_OK)
        return status;
    e.sum = scratch_new(count, sizeof *e.sum);
    e.ratio = scratch_new(count, sizeof *e.ratio);
    status = e.sum && e.ratio ? find(&e, sigma, keep, factor)
                              : job_fail_memory(job, count * (sizeof *e.sum + sizeof *e.ratio));
    scratch_free(e.sum);
    scratch_free(e.ratio);
    buckets_release(&e.corner);
    return status;
}
