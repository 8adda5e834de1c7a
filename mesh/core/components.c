/* Connected pieces of surface: disjoint sets of triangles whose root is their first triangle
 * (Tarjan 1975, path halving). */
#include <stdlib.h>
#include <string.h>

#include "core/job.h"
#include "core/topology.h"

enum { BLOCK = 4096 };

struct shared { /* one side of a non-manifold edge */
    uint32_t low, high, triangle;
};

static uint32_t find(uint32_t *parent, uint32_t t)
{
    while (parent[t] != t) {
        parent[t] = parent[parent[t]];
        t = parent[t];
    }
    return t;
}

static void unite(uint32_t *parent, uint32_t a, uint32_t b)
{
    a = find(parent, a);
    b = find(parent, b);
    if (a < b)
        parent[b] = a;
    else
        parent[a] = b;
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
            unite(parent, list[i].triangle, list[i - 1].triangle);
    scratch_free(list);
    return STATUS_OK;
}

static enum status unite_all(const struct mesh *mesh, uint32_t *parent, struct job *job)
{
    const struct topology *topology = mesh_topology(mesh, job);
    if (!topology)
        return job_status(job);
    size_t triangles = mesh_triangles(mesh);
    for (size_t t = 0; t < triangles; t++)
        parent[t] = (uint32_t)t;
    for (size_t t = 0; t < triangles; t++) {
        if (t % BLOCK == 0 && job_cancelled(job))
            return job_fail_cancelled(job);
        for (size_t k = 0; k < 3; k++) {
            uint32_t twin = topology->twin[3 * t + k];
            if (twin == TWIN_NONE || twin == TWIN_MANY)
                continue;
            uint32_t other = (twin & ~TWIN_FLIPPED) / 3;
            if (other < t)
                unite(parent, (uint32_t)t, other);
        }
    }
    return unite_nonmanifold(mesh, topology, parent, job);
}

/* Turns roots into numbers; returns how many. A root comes before all that point to it. */
static size_t number(uint32_t *parent, size_t triangles)
{
    size_t count = 0;
    for (size_t t = 0; t < triangles; t++)
        if (parent[t] == t)
            parent[t] = (uint32_t)count++;
        else
            parent[t] = parent[parent[t]];
    return count;
}

static double triangle_area(const struct mesh *mesh, size_t t)
{
    const uint32_t *v = mesh_triangle(mesh)[t].v;
    struct vec a = point_vec(mesh_point(mesh)[v[0]]);
    struct vec b = vec_sub(point_vec(mesh_point(mesh)[v[1]]), a);
    struct vec c = vec_sub(point_vec(mesh_point(mesh)[v[2]]), a);
    return vec_length(vec_cross(b, c)) / 2;
}

static enum status measure(const struct mesh *mesh, struct components *components, struct job *job)
{
    components->triangles = calloc(components->count + 1, sizeof *components->triangles);
    components->area = calloc(components->count + 1, sizeof *components->area);
    if (!components->triangles || !components->area)
        return job_fail_memory(job, components->count * 12);
    for (size_t t = 0; t < mesh_triangles(mesh); t++) {
        if (t % BLOCK == 0 && job_cancelled(job))
            return job_fail_cancelled(job);
        components->triangles[components->of[t]]++;
        components->area[components->of[t]] += triangle_area(mesh, t);
    }
    return STATUS_OK;
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
        components->count = number(components->of, triangles);
        status = measure(mesh, components, job);
    }
    if (status == STATUS_OK)
        return components;
    components_free(components);
    return NULL;
}

const struct derived_row derived_components = {components_make, components_free};
