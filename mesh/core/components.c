/* Connected pieces of surface: disjoint sets of triangles, united by all threads at once without
 * locks (R. J. Anderson, H. Woll, "Wait-free parallel algorithms for the union-find problem",
 * 1991). A root is always linked to a lower one, so in the end each set hangs from its first
 * triangle, whatever the threads did before. */
#include <stdlib.h>

#include <omp.h>

#include "core/job.h"
#include "core/same.h"
#include "core/topology.h"

enum { BLOCK = 4096, AT_ONCE = 32 };

struct shared { /* one side of a non-manifold edge */
    uint32_t low, high, triangle;
};

struct run { /* of triangles of the same piece */
    uint32_t piece, triangles;
    double area;
};

static inline uint32_t get(const uint32_t *parent, uint32_t t)
{
    return __atomic_load_n(&parent[t], __ATOMIC_RELAXED);
}

static inline uint32_t find(uint32_t *parent, uint32_t t)
{
    for (uint32_t up; (up = get(parent, t)) != t; t = up) {
        uint32_t above = get(parent, up);
        if (above != up) /* halves the path; another thread may only have done so further */
            __atomic_store_n(&parent[t], above, __ATOMIC_RELAXED);
    }
    return t;
}

/* `shared`: other threads may be uniting the same sets. */
static inline void unite(uint32_t *parent, uint32_t a, uint32_t b, bool shared)
{
    for (;;) {
        a = find(parent, a);
        b = find(parent, b);
        if (a == b)
            return;
        uint32_t low = a < b ? a : b, high = a < b ? b : a;
        if (!shared) {
            parent[high] = low;
            return;
        }
        if (__atomic_compare_exchange_n(&parent[high], &high, low, false, __ATOMIC_RELAXED,
                                        __ATOMIC_RELAXED))
            return;
        a = low;
        b = high; /* no root any more: this is now what it was linked to */
    }
}

static int shared_order(const void *x, const void *y)
{
    const struct shared *a = x, *b = y;
    if (a->low != b->low)
        return a->low < b->low ? -1 : 1;
    if (a->high != b->high)
        return a->high < b->high ? -1 : 1;
    return a->triangle < b->triangle ? -1 : a->triangle > b->triangle;
}

static size_t list_shared(const struct mesh *mesh, const struct topology *topology,
                          struct shared *list)
{
    size_t count = 0;
    for (size_t h = 0; h < 3 * mesh_triangles(mesh); h++) {
        if (topology->twin[h] != TWIN_MANY)
            continue;
        uint32_t a = half_from(mesh_triangle(mesh), (uint32_t)h);
        uint32_t b = half_to(mesh_triangle(mesh), (uint32_t)h);
        if (a == b)
            continue;
        if (list)
            list[count] = (struct shared){a < b ? a : b, a < b ? b : a, (uint32_t)(h / 3)};
        count++;
    }
    return count;
}

static enum status unite_nonmanifold(const struct mesh *mesh, const struct topology *topology,
                                     uint32_t *parent, struct job *job)
{
    if (topology->nonmanifold == 0)
        return STATUS_OK;
    size_t count = list_shared(mesh, topology, NULL);
    struct shared *list = scratch_new(count, sizeof *list);
    if (!list)
        return job_fail_memory(job, count * sizeof *list);
    list_shared(mesh, topology, list);
    qsort(list, count, sizeof *list, shared_order);
    for (size_t i = 1; i < count; i++)
        if (list[i].low == list[i - 1].low && list[i].high == list[i - 1].high)
            unite(parent, list[i].triangle, list[i - 1].triangle, false);
    scratch_free(list);
    return STATUS_OK;
}

struct share { /* the triangles of one thread */
    const struct topology *topology;
    uint32_t *parent;
    size_t from, end;
    const struct job *job;
};

/* Unites triangles of the share with earlier ones: those within it, or those before it. */
static void unite_share(const struct share *s, bool within)
{
    for (size_t t = s->from; t < s->end; t++) {
        if (t % BLOCK == 0 && job_cancelled(s->job))
            return;
        for (size_t k = 0; k < 3; k++) {
            uint32_t twin = s->topology->twin[3 * t + k];
            uint32_t other = (twin & ~TWIN_FLIPPED) / 3;
            if (other >= t || (other >= s->from) != within || twin >= TWIN_MANY)
                continue;
            unite(s->parent, (uint32_t)t, other, !within);
        }
    }
}

static enum status unite_all(const struct mesh *mesh, uint32_t *parent, struct job *job)
{
    const struct topology *topology = mesh_topology(mesh, job);
    if (!topology)
        return job_status(job);
    size_t triangles = mesh_triangles(mesh);
#pragma omp parallel num_threads(job_threads(job))
    {
        size_t i = (size_t)omp_get_thread_num(), n = (size_t)omp_get_num_threads();
        struct share share = {topology, parent, triangles * i / n, triangles * (i + 1) / n, job};
        for (size_t t = share.from; t < share.end; t++)
            parent[t] = (uint32_t)t;
        unite_share(&share, true);
#pragma omp barrier
        if (i > 0)
            unite_share(&share, false);
    }
    if (job_cancelled(job))
        return job_fail_cancelled(job);
    return unite_nonmanifold(mesh, topology, parent, job);
}

/* Turns each entry into its root, then into the root's number; returns how many. */
static size_t number(uint32_t *parent, size_t triangles, const struct job *job)
{
#pragma omp parallel for num_threads(job_threads(job)) schedule(static)
    for (size_t block = 0; block < triangles; block += BLOCK)
        for (size_t t = block; t < triangles && t < block + BLOCK && !job_cancelled(job); t++)
            __atomic_store_n(&parent[t], find(parent, (uint32_t)t), __ATOMIC_RELAXED);
    return same_count(parent, triangles, job);
}

static double triangle_area(const struct mesh *mesh, size_t t)
{
    const uint32_t *v = mesh_triangle(mesh)[t].v;
    struct vec a = point_vec(mesh_point(mesh)[v[0]]);
    struct vec b = vec_sub(point_vec(mesh_point(mesh)[v[1]]), a);
    struct vec c = vec_sub(point_vec(mesh_point(mesh)[v[2]]), a);
    return vec_length(vec_cross(b, c)) / 2;
}

/* Adds the areas of a block up by runs of the same piece; returns how many runs. */
static size_t measure_block(const struct mesh *mesh, const uint32_t *of, size_t from, size_t end,
                            struct run *run)
{
    size_t runs = 0;
    for (size_t t = from; t < end; t++) {
        if (runs == 0 || run[runs - 1].piece != of[t])
            run[runs++] = (struct run){.piece = of[t]};
        run[runs - 1].area += triangle_area(mesh, t);
        run[runs - 1].triangles++;
    }
    return runs;
}

/* Blocks are measured by any thread, some at a time, but added in their order: so the sums do not
 * depend on the threads. */
static void measure_blocks(const struct mesh *mesh, struct components *components,
                           struct run (*run)[BLOCK], size_t from, const struct job *job)
{
    size_t triangles = mesh_triangles(mesh), runs[AT_ONCE];
#pragma omp parallel for num_threads(job_threads(job)) schedule(static)
    for (size_t i = 0; i < AT_ONCE; i++) {
        size_t start = from + i * BLOCK,
               end = start + BLOCK < triangles ? start + BLOCK : triangles;
        runs[i] = start < end ? measure_block(mesh, components->of, start, end, run[i]) : 0;
    }
    for (size_t i = 0; i < AT_ONCE; i++)
        for (size_t j = 0; j < runs[i]; j++) {
            components->area[run[i][j].piece] += run[i][j].area;
            components->triangles[run[i][j].piece] += run[i][j].triangles;
        }
}

static enum status measure(const struct mesh *mesh, struct components *components, struct job *job)
{
    components->triangles = calloc(components->count + 1, sizeof *components->triangles);
    components->area = calloc(components->count + 1, sizeof *components->area);
    size_t triangles = mesh_triangles(mesh), blocks = (triangles + BLOCK - 1) / BLOCK;
    struct run(*run)[BLOCK] = scratch_new(blocks < AT_ONCE ? blocks : AT_ONCE, sizeof *run);
    enum status status = STATUS_OK;
    if (!components->triangles || !components->area || !run)
        status = job_fail_memory(job, components->count * 12 + AT_ONCE * sizeof *run);
    for (size_t t = 0; t < triangles && status == STATUS_OK; t += AT_ONCE * BLOCK) {
        measure_blocks(mesh, components, run, t, job);
        status = job_cancelled(job) ? job_fail_cancelled(job) : STATUS_OK;
    }
    scratch_free(run);
    return status;
}

static void components_free(void *data)
{
    struct components *components = data;
    scratch_free(components->of);
    free(components->triangles);
    free(components->area);
    free(components);
}

static void *components_make(const struct mesh *mesh, struct job *job)
{
    struct components *components = calloc(1, sizeof *components);
    if (!components) {
        job_fail_memory(job, sizeof *components);
        return NULL;
    }
    size_t triangles = mesh_triangles(mesh);
    components->of = scratch_new(triangles, sizeof *components->of);
    enum status status = components->of ? unite_all(mesh, components->of, job)
                                        : job_fail_memory(job, triangles * sizeof(uint32_t));
    if (status == STATUS_OK) {
        components->count = number(components->of, triangles, job);
        status = job_cancelled(job) ? job_fail_cancelled(job) : measure(mesh, components, job);
    }
    if (status == STATUS_OK)
        return components;
    components_free(components);
    return NULL;
}

const struct derived_row derived_components = {components_make, components_free};
