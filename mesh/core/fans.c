#include "core/fans.h"

#include <stdlib.h>

#include "core/buckets.h"
#include "core/job.h"
#include "core/sets.h"

enum { BLOCK = 4096 };

struct fans {
    const struct mesh *mesh;
    const struct topology *topology;
    struct buckets corners;
    uint8_t *pinched; /* one a vertex */
};

struct groups { /* disjoint sets of the corners of one vertex; grows as needed */
    uint32_t *parent;
    size_t room;
};

/* How many corners the fan that begins with half-edge `from` has, going round without crossing a
 * boundary, non-manifold or misoriented edge. */
static size_t fan_size(const struct topology *topology, uint32_t from)
{
    size_t size = 0;
    uint32_t h = from;
    do {
        size++;
        h = half_across(topology, half_prev(h));
    } while (h != NO_INDEX && h != from);
    return size;
}

/* Whether each vertex has all its corners in the fan that starts at fan[v]: the quick answer for
 * sound meshes, since then the sizes add up to all corners there are. */
static bool all_single(const struct mesh *mesh, const struct topology *topology, struct job *job)
{
    size_t vertices = mesh_vertices(mesh), sum = 0;
#pragma omp parallel for num_threads(job_threads(job)) schedule(dynamic) reduction(+ : sum)
    for (size_t from = 0; from < vertices; from += BLOCK) {
        size_t end = from + BLOCK < vertices ? from + BLOCK : vertices;
        for (size_t v = from; v < end && !job_cancelled(job); v++)
            if (topology->fan[v] != NO_INDEX)
                sum += fan_size(topology, topology->fan[v]);
    }
    return sum == 3 * mesh_triangles(mesh);
}

static uint32_t corner_index(const uint32_t *corner, uint32_t count, uint32_t wanted)
{
    uint32_t low = 0, high = count;
    while (high - low > 1) {
        uint32_t middle = low + (high - low) / 2;
        *(corner[middle] <= wanted ? &low : &high) = middle;
    }
    return low;
}

/* The corner at vertex v that lies across half-edge h, one side of a corner at v; the corner itself
 * at a boundary; NO_INDEX at a non-manifold edge. */
static uint32_t corner_across(const struct fans *fans, uint32_t v, uint32_t corner, uint32_t h)
{
    const struct triangle *triangle = mesh_triangle(fans->mesh);
    uint32_t twin = fans->topology->twin[h];
    if (twin == TWIN_NONE)
        return corner;
    if (twin == TWIN_MANY) {
        if (half_from(triangle, h) != half_to(triangle, h))
            return NO_INDEX;
        return h == corner ? half_next(h) : h;
    }
    twin &= ~TWIN_FLIPPED;
    return half_from(triangle, twin) == v ? twin : half_next(twin);
}

static bool point_triangle(const struct fans *fans, uint32_t corner)
{
    const uint32_t *v = mesh_triangle(fans->mesh)[corner / 3].v;
    return v[0] == v[1] && v[1] == v[2];
}

static bool groups_reserve(struct groups *groups, size_t count)
{
    if (count <= groups->room)
        return true;
    uint32_t *parent = realloc(groups->parent, 2 * count * sizeof *parent);
    if (!parent)
        return false;
    groups->parent = parent;
    groups->room = 2 * count;
    return true;
}

static bool is_pinched(const struct fans *fans, uint32_t v, uint32_t *parent)
{
    const uint32_t *corner = fans->corners.half + fans->corners.start[v];
    uint32_t count = fans->corners.start[v + 1] - fans->corners.start[v], sets = 0;
    for (uint32_t i = 0; i < count; i++) {
        parent[i] = i;
        sets += !point_triangle(fans, corner[i]);
    }
    for (uint32_t i = 0; i < count; i++) {
        if (point_triangle(fans, corner[i]))
            continue;
        uint32_t side[2] = {corner[i], half_prev(corner[i])};
        for (int k = 0; k < 2; k++) {
            uint32_t other = corner_across(fans, v, corner[i], side[k]);
            if (other == NO_INDEX)
                return true;
            uint32_t a = sets_find(parent, i), b = sets_find(parent, corner_index(corner, count, other));
            sets -= a != b;
            parent[b] = a;
        }
    }
    return sets > 1;
}

/* False when out of memory. */
static bool mark_range(struct fans *fans, size_t from, size_t end)
{
    struct groups groups = {0};
    bool ok = true;
    for (size_t v = from; v < end && ok; v++) {
        size_t corners = fans->corners.start[v + 1] - fans->corners.start[v];
        fans->pinched[v] = false;
        if (corners == 0 || fan_size(fans->topology, fans->topology->fan[v]) == corners)
            continue;
        ok = groups_reserve(&groups, corners);
        fans->pinched[v] = ok && is_pinched(fans, (uint32_t)v, groups.parent);
    }
    free(groups.parent);
    return ok;
}

static enum status mark_all(struct fans *fans, struct job *job)
{
    size_t vertices = mesh_vertices(fans->mesh);
    int lacking = 0;
#pragma omp parallel for num_threads(job_threads(job)) schedule(dynamic) reduction(| : lacking)
    for (size_t v = 0; v < vertices; v += BLOCK)
        if (!job_cancelled(job))
            lacking |= !mark_range(fans, v, v + BLOCK < vertices ? v + BLOCK : vertices);
    if (lacking)
        return job_fail_memory(job, vertices);
    return job_cancelled(job) ? job_fail_cancelled(job) : STATUS_OK;
}

static enum status list_marked(const struct fans *fans, uint32_t **list, size_t *count,
                               struct job *job)
{
    size_t vertices = mesh_vertices(fans->mesh), n = 0;
    for (size_t v = 0; v < vertices; v++)
        n += fans->pinched[v];
    if (n == 0)
        return STATUS_OK;
    *list = scratch_new(n, sizeof **list);
    if (!*list)
        return job_fail_memory(job, n * sizeof **list);
    for (size_t v = 0; v < vertices; v++)
        if (fans->pinched[v])
            (*list)[(*count)++] = (uint32_t)v;
    return STATUS_OK;
}

enum status fans_pinched(const struct mesh *mesh, const struct topology *topology,
                         uint32_t **vertices, size_t *count, struct job *job)
{
    *vertices = NULL;
    *count = 0;
    if (all_single(mesh, topology, job))
        return STATUS_OK;
    if (job_cancelled(job))
        return job_fail_cancelled(job);
    struct fans fans = {.mesh = mesh, .topology = topology};
    enum status status = buckets_make(mesh, BUCKET_FROM, &fans.corners, job);
    if (status != STATUS_OK)
        return status;
    fans.pinched = scratch_new(mesh_vertices(mesh), 1);
    status = fans.pinched ? mark_all(&fans, job) : job_fail_memory(job, mesh_vertices(mesh));
    buckets_release(&fans.corners);
    if (status == STATUS_OK)
        status = list_marked(&fans, vertices, count, job);
    scratch_free(fans.pinched);
    return status;
}
