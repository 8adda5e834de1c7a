#include "core/topology.h"

#include <stdlib.h>

#include <omp.h>

#include "core/fans.h"
#include "core/job.h"

enum {
    BLOCK = 4096, /* vertices or triangles between two looks at cancel */
    AHEAD = 8,    /* vertices whose lists are fetched before they are looked at */
    SMALL = 32    /* where more half-edges meet they are sorted before they are paired */
};

/* Both sides of an edge meet in a list of the edge's lower vertex. Until they are paired, the lists
 * are threaded through the arrays they will fill: fan[v] holds the last half-edge of the list of v,
 * twin[h] the one before h. Each thread keeps the lists of its own vertices and looks at all
 * triangles for them, so no lock is needed and the number of threads makes no difference. */
struct pairing {
    const struct triangle *triangle;
    size_t triangles;
    uint32_t *twin, *fan;
    size_t edges, boundary, misoriented, nonmanifold;
    bool lacking; /* out of memory */
    const struct job *job;
};

struct far { /* a half-edge in a list, by its other end */
    uint32_t end;
    uint32_t half; /* TWIN_FLIPPED is set when it runs towards the lower vertex */
};

/* --- lists ---------------------------------------------------------------------------------- */

static void thread_lists(struct pairing *p, uint32_t low, uint32_t high)
{
    for (uint32_t v = low; v < high; v++)
        p->fan[v] = NO_INDEX;
    uint32_t h = 0;
    for (size_t t = 0; t < p->triangles; t++) {
        if (t % BLOCK == 0 && job_cancelled(p->job))
            return;
        const uint32_t *v = p->triangle[t].v;
        for (unsigned k = 0; k < 3; k++, h++) {
            uint32_t a = v[k], b = v[k == 2 ? 0 : k + 1], lower = a < b ? a : b;
            if (lower - low >= high - low)
                continue;
            p->twin[h] = a == b ? TWIN_MANY : p->fan[lower];
            if (a != b)
                p->fan[lower] = h;
        }
    }
}

static struct far far_of(const struct pairing *p, uint32_t v, uint32_t h)
{
    uint32_t from = half_from(p->triangle, h);
    if (from == v)
        return (struct far){half_to(p->triangle, h), h};
    return (struct far){from, h | TWIN_FLIPPED};
}

/* --- pairing -------------------------------------------------------------------------------- */

/* Links the half-edges of one edge. */
static void pair_edge(struct pairing *p, const struct far *far, size_t count)
{
    p->edges++;
    if (count == 2) {
        uint32_t a = far[0].half & ~TWIN_FLIPPED, b = far[1].half & ~TWIN_FLIPPED;
        bool flipped = !((far[0].half ^ far[1].half) & TWIN_FLIPPED);
        p->twin[a] = flipped ? b | TWIN_FLIPPED : b;
        p->twin[b] = flipped ? a | TWIN_FLIPPED : a;
        p->misoriented += flipped;
    } else if (count == 1) {
        p->twin[far[0].half & ~TWIN_FLIPPED] = TWIN_NONE;
        p->boundary++;
    } else {
        for (size_t i = 0; i < count; i++)
            p->twin[far[i].half & ~TWIN_FLIPPED] = TWIN_MANY;
        p->nonmanifold++;
    }
}

static void pair_small(struct pairing *p, struct far *far, size_t count)
{
    while (count) {
        struct far same[SMALL];
        size_t n = 0, rest = 0;
        uint32_t end = far[0].end;
        for (size_t i = 0; i < count; i++)
            if (far[i].end == end)
                same[n++] = far[i];
            else
                far[rest++] = far[i];
        pair_edge(p, same, n);
        count = rest;
    }
}

static int far_order(const void *x, const void *y)
{
    const struct far *a = x, *b = y;
    return a->end < b->end ? -1 : a->end > b->end;
}

static void pair_large(struct pairing *p, uint32_t v)
{
    size_t count = 0, i = 0;
    for (uint32_t h = p->fan[v]; h != NO_INDEX; h = p->twin[h])
        count++;
    struct far *far = scratch_new(count, sizeof *far);
    if (!far) {
        p->lacking = true;
        return;
    }
    for (uint32_t h = p->fan[v]; h != NO_INDEX; h = p->twin[h])
        far[i++] = far_of(p, v, h);
    qsort(far, count, sizeof *far, far_order);
    for (size_t from = 0, end; from < count; from = end) {
        for (end = from + 1; end < count && far[end].end == far[from].end; end++)
            ;
        pair_edge(p, far + from, end - from);
    }
    scratch_free(far);
}

static void pair_vertex(struct pairing *p, uint32_t v)
{
    struct far far[SMALL];
    size_t count = 0;
    uint32_t h = p->fan[v];
    for (; h != NO_INDEX && count < SMALL; h = p->twin[h])
        far[count++] = far_of(p, v, h);
    if (h == NO_INDEX)
        pair_small(p, far, count);
    else
        pair_large(p, v);
}

static void pair_range(struct pairing *p, uint32_t low, uint32_t high)
{
    thread_lists(p, low, high);
    for (uint32_t v = low; v < high && !p->lacking; v++) {
        if (v % BLOCK == 0 && job_cancelled(p->job))
            return;
        if (high - v > AHEAD && p->fan[v + AHEAD] != NO_INDEX) {
            __builtin_prefetch(&p->triangle[p->fan[v + AHEAD] / 3]);
            __builtin_prefetch(&p->twin[p->fan[v + AHEAD]], 1);
        }
        pair_vertex(p, v);
    }
}

static enum status pair_edges(const struct mesh *mesh, struct topology *topology, struct job *job)
{
    size_t vertices = mesh_vertices(mesh), edges = 0, boundary = 0, misoriented = 0, many = 0;
    int lacking = 0;
#pragma omp parallel num_threads(job_threads(job))                                                 \
    reduction(+ : edges, boundary, misoriented, many) reduction(| : lacking)
    {
        struct pairing p = {.triangle = mesh_triangle(mesh),
                            .triangles = mesh_triangles(mesh),
                            .twin = topology->twin,
                            .fan = topology->fan,
                            .job = job};
        size_t i = (size_t)omp_get_thread_num(), n = (size_t)omp_get_num_threads();
        pair_range(&p, (uint32_t)(vertices * i / n), (uint32_t)(vertices * (i + 1) / n));
        edges = p.edges;
        boundary = p.boundary;
        misoriented = p.misoriented;
        many = p.nonmanifold;
        lacking = p.lacking;
    }
    topology->edges = edges;
    topology->boundary = boundary;
    topology->misoriented = misoriented;
    topology->nonmanifold = many;
    if (lacking)
        return job_fail_memory(job, 3 * mesh_triangles(mesh) * sizeof(struct far));
    return job_cancelled(job) ? job_fail_cancelled(job) : STATUS_OK;
}

/* --- fans ----------------------------------------------------------------------------------- */

/* Each thread finds the fans of its own vertices. */
static void fan_range(const struct mesh *mesh, const uint32_t *twin, uint32_t *fan, uint32_t low,
                      uint32_t high, const struct job *job)
{
    for (uint32_t v = low; v < high; v++)
        fan[v] = NO_INDEX;
    uint32_t h = 0;
    for (size_t t = 0; t < mesh_triangles(mesh); t++) {
        if (t % BLOCK == 0 && job_cancelled(job))
            return;
        for (unsigned k = 0; k < 3; k++, h++) {
            uint32_t v = mesh_triangle(mesh)[t].v[k];
            if (v - low >= high - low)
                continue;
            if (fan[v] == NO_INDEX || (twin[h] == TWIN_NONE && twin[fan[v]] != TWIN_NONE))
                fan[v] = h;
        }
    }
}

static void start_fans(const struct mesh *mesh, struct topology *topology, struct job *job)
{
    size_t vertices = mesh_vertices(mesh), unused = 0;
#pragma omp parallel num_threads(job_threads(job)) reduction(+ : unused)
    {
        size_t i = (size_t)omp_get_thread_num(), n = (size_t)omp_get_num_threads();
        uint32_t low = (uint32_t)(vertices * i / n), high = (uint32_t)(vertices * (i + 1) / n);
        fan_range(mesh, topology->twin, topology->fan, low, high, job);
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
    if (job_cancelled(job))
        return job_fail_cancelled(job);
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
