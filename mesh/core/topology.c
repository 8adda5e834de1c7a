#include "core/topology.h"

#include <stdlib.h>

#include <omp.h>

#include "core/buckets.h"
#include "core/fans.h"
#include "core/job.h"

enum {
    BLOCK = 4096, /* vertices or triangles between two looks at cancel */
    SMALL = 32    /* larger buckets are sorted before they are paired */
};

struct pairing {
    const struct triangle *triangle;
    uint32_t *twin;
    size_t edges, boundary, misoriented, nonmanifold;
};

struct far { /* a half-edge in a bucket, by its other end */
    uint32_t end, half;
};

/* Links the half-edges of one edge. */
static void pair_edge(struct pairing *p, const struct far *far, size_t count)
{
    p->edges++;
    if (count == 1) {
        p->twin[far[0].half] = TWIN_NONE;
        p->boundary++;
    } else if (count == 2) {
        uint32_t a = far[0].half, b = far[1].half;
        bool flipped = half_from(p->triangle, a) == half_from(p->triangle, b);
        p->twin[a] = flipped ? b | TWIN_FLIPPED : b;
        p->twin[b] = flipped ? a | TWIN_FLIPPED : a;
        p->misoriented += flipped;
    } else {
        for (size_t i = 0; i < count; i++)
            p->twin[far[i].half] = TWIN_MANY;
        p->nonmanifold++;
    }
}

static void pair_small(struct pairing *p, struct far *far, size_t count)
{
    while (count) {
        struct far same[SMALL] = {far[0]};
        size_t n = 1, rest = 0;
        for (size_t i = 1; i < count; i++)
            if (far[i].end == far[0].end)
                same[n++] = far[i];
            else
                far[1 + rest++] = far[i];
        pair_edge(p, same, n);
        far++;
        count = rest;
    }
}

static int far_order(const void *x, const void *y)
{
    const struct far *a = x, *b = y;
    if (a->end != b->end)
        return a->end < b->end ? -1 : 1;
    return a->half < b->half ? -1 : a->half > b->half;
}

static void pair_large(struct pairing *p, struct far *far, size_t count)
{
    qsort(far, count, sizeof *far, far_order);
    for (size_t i = 0, j; i < count; i = j) {
        for (j = i + 1; j < count && far[j].end == far[i].end; j++)
            ;
        pair_edge(p, far + i, j - i);
    }
}

/* The other end of each half-edge in the bucket of vertex v. */
static void far_ends(const struct pairing *p, uint32_t v, const uint32_t *half, size_t count,
                     struct far *far)
{
    for (size_t i = 0; i < count; i++) {
        uint32_t from = half_from(p->triangle, half[i]);
        far[i] = (struct far){from == v ? half_to(p->triangle, half[i]) : from, half[i]};
    }
}

/* False when out of memory. */
static bool pair_bucket(struct pairing *p, uint32_t v, const uint32_t *half, size_t count)
{
    if (count <= SMALL) {
        struct far far[SMALL];
        far_ends(p, v, half, count, far);
        pair_small(p, far, count);
        return true;
    }
    struct far *far = scratch_new(count, sizeof *far);
    if (!far)
        return false;
    far_ends(p, v, half, count, far);
    pair_large(p, far, count);
    scratch_free(far);
    return true;
}

static bool pair_range(struct pairing *p, const struct buckets *buckets, size_t from, size_t end)
{
    for (size_t v = from; v < end; v++) {
        uint32_t start = buckets->start[v];
        if (!pair_bucket(p, (uint32_t)v, buckets->half + start, buckets->start[v + 1] - start))
            return false;
    }
    return true;
}

static enum status pair_edges(const struct mesh *mesh, struct topology *topology, struct job *job)
{
    struct buckets buckets;
    enum status status = buckets_make(mesh, BUCKET_LOWER, &buckets, job);
    if (status != STATUS_OK)
        return status;
    size_t vertices = mesh_vertices(mesh), edges = 0, boundary = 0, misoriented = 0, many = 0;
    int lacking = 0;
#pragma omp parallel for num_threads(job_threads(job)) schedule(dynamic)                           \
    reduction(+ : edges, boundary, misoriented, many) reduction(| : lacking)
    for (size_t v = 0; v < vertices; v += BLOCK) {
        struct pairing p = {.triangle = mesh_triangle(mesh), .twin = topology->twin};
        if (!job_cancelled(job))
            lacking |= !pair_range(&p, &buckets, v, v + BLOCK < vertices ? v + BLOCK : vertices);
        edges += p.edges;
        boundary += p.boundary;
        misoriented += p.misoriented;
        many += p.nonmanifold;
    }
    buckets_release(&buckets);
    topology->edges = edges;
    topology->boundary = boundary;
    topology->misoriented = misoriented;
    topology->nonmanifold = many;
    if (lacking)
        return job_fail_memory(job, 3 * mesh_triangles(mesh) * sizeof(struct far));
    return job_cancelled(job) ? job_fail_cancelled(job) : STATUS_OK;
}

/* Half-edges that run from a vertex to itself are in no bucket. */
static void mark_degenerate(const struct mesh *mesh, uint32_t *twin, size_t from, size_t end)
{
    for (size_t t = from; t < end; t++) {
        const uint32_t *v = mesh_triangle(mesh)[t].v;
        for (unsigned k = 0; k < 3; k++)
            if (v[k] == v[k == 2 ? 0 : k + 1])
                twin[3 * t + k] = TWIN_MANY;
    }
}

/* Each thread finds the fans of its own vertices. */
static void fan_range(const struct mesh *mesh, const uint32_t *twin, uint32_t *fan, uint32_t low,
                      uint32_t high)
{
    for (uint32_t v = low; v < high; v++)
        fan[v] = NO_INDEX;
    uint32_t h = 0;
    for (size_t t = 0; t < mesh_triangles(mesh); t++)
        for (unsigned k = 0; k < 3; k++, h++) {
            uint32_t v = mesh_triangle(mesh)[t].v[k];
            if (v - low >= high - low)
                continue;
            if (fan[v] == NO_INDEX || (twin[h] == TWIN_NONE && twin[fan[v]] != TWIN_NONE))
                fan[v] = h;
        }
}

static void start_fans(const struct mesh *mesh, struct topology *topology, struct job *job)
{
    size_t vertices = mesh_vertices(mesh), triangles = mesh_triangles(mesh), unused = 0;
#pragma omp parallel num_threads(job_threads(job)) reduction(+ : unused)
    {
#pragma omp for
        for (size_t t = 0; t < triangles; t += BLOCK)
            mark_degenerate(mesh, topology->twin, t, t + BLOCK < triangles ? t + BLOCK : triangles);
        size_t i = (size_t)omp_get_thread_num(), n = (size_t)omp_get_num_threads();
        uint32_t low = (uint32_t)(vertices * i / n), high = (uint32_t)(vertices * (i + 1) / n);
        fan_range(mesh, topology->twin, topology->fan, low, high);
        for (uint32_t v = low; v < high; v++)
            unused += topology->fan[v] == NO_INDEX;
    }
    topology->unused_vertices = unused;
}

static void topology_free(void *data)
{
    struct topology *topology = data;
    scratch_free(topology->twin);
    scratch_free(topology->fan);
    free(topology);
}

static enum status build(const struct mesh *mesh, struct topology *topology, struct job *job)
{
    topology->twin = scratch_new(3 * mesh_triangles(mesh), sizeof *topology->twin);
    topology->fan = scratch_new(mesh_vertices(mesh), sizeof *topology->fan);
    if (!topology->twin || !topology->fan)
        return job_fail_memory(job,
                               (3 * mesh_triangles(mesh) + mesh_vertices(mesh)) * sizeof(uint32_t));
    enum status status = pair_edges(mesh, topology, job);
    if (status != STATUS_OK)
        return status;
    start_fans(mesh, topology, job);
    uint32_t *pinched;
    status = fans_pinched(mesh, topology, &pinched, &topology->nonmanifold_vertices, job);
    scratch_free(pinched);
    return status;
}

static void *topology_make(const struct mesh *mesh, struct job *job)
{
    struct topology *topology = calloc(1, sizeof *topology);
    if (!topology) {
        job_fail_memory(job, sizeof *topology);
        return NULL;
    }
    if (build(mesh, topology, job) == STATUS_OK)
        return topology;
    topology_free(topology);
    return NULL;
}

const struct derived_row derived_topology = {topology_make, topology_free};
