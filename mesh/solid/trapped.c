#include <stdlib.h>
#include <string.h>

#include "core/buckets.h"
#include "core/job.h"
#include "core/sets.h"
#include "core/topology.h"
#include "core/tree.h"
#include "solid/drain.h"

enum { BLOCK = 1024 };

static const double drop = 1e-3; /* mm3: less is no pool */

struct flood {
    const struct mesh *body;
    struct buckets buckets;
    double *level; /* one a vertex; INFINITY: not reached */
    uint8_t *free; /* it lies on the outside */
    uint32_t *heap;
    size_t count;
    struct job *job;
};

/* --- the heap, the lowest level first, of equal ones the lowest vertex -------------------------
 */

static bool before(const struct flood *f, uint32_t v, uint32_t w)
{
    return f->level[v] < f->level[w] || (f->level[v] == f->level[w] && v < w);
}

static void push(struct flood *f, uint32_t v)
{
    size_t i = f->count++;
    for (; i > 0 && before(f, v, f->heap[(i - 1) / 2]); i = (i - 1) / 2)
        f->heap[i] = f->heap[(i - 1) / 2];
    f->heap[i] = v;
}

static uint32_t pop(struct flood *f)
{
    uint32_t first = f->heap[0], last = f->heap[--f->count];
    size_t i = 0, child;
    while ((child = 2 * i + 1) < f->count) {
        if (child + 1 < f->count && before(f, f->heap[child + 1], f->heap[child]))
            child++;
        if (!before(f, f->heap[child], last))
            break;
        f->heap[i] = f->heap[child];
        i = child;
    }
    f->heap[i] = last;
    return first;
}

/* --- levels ---------------------------------------------------------------------------------- */

/* Every BLOCK elements: whether to stop. */
static bool is_time(const struct flood *f, size_t i)
{
    return i % BLOCK == 0 && job_cancelled(f->job);
}

static double height(const struct flood *f, uint32_t v)
{
    return (double)mesh_point(f->body)[v].z;
}

static enum status find_free(struct flood *f, const struct mesh *outside, double wall)
{
    const struct tree *tree = mesh_tree(outside, f->job);
    if (!tree)
        return job_status(f->job);
    size_t vertices = mesh_vertices(f->body), blocks = (vertices + BLOCK - 1) / BLOCK;
#pragma omp parallel for num_threads(job_threads(f->job)) schedule(dynamic, 1)
    for (size_t b = 0; b < blocks; b++)
        for (size_t v = b * BLOCK; v < (b + 1) * BLOCK && v < vertices; v++) {
            if (job_cancelled(f->job))
                continue;
            struct vec at = mesh_world(f->body, point_vec(mesh_point(f->body)[v]));
            struct nearest near = tree_nearest(tree, mesh_local(outside, at), wall / 2);
            f->free[v] = near.triangle != NO_INDEX;
        }
    return job_cancelled(f->job) ? job_fail_cancelled(f->job) : STATUS_OK;
}

/* Every vertex enters the heap once, when first reached: that is at its final level. */
static enum status flow(struct flood *f)
{
    for (uint32_t v = 0; v < mesh_vertices(f->body); v++) {
        f->level[v] = f->free[v] ? height(f, v) : INFINITY;
        if (f->free[v])
            push(f, v);
    }
    for (size_t i = 0; f->count; i++) {
        if (is_time(f, i))
            return job_fail_cancelled(f->job);
        uint32_t v = pop(f);
        for (uint32_t h = f->buckets.start[v]; h < f->buckets.start[v + 1]; h++) {
            uint32_t w = half_to(mesh_triangle(f->body), f->buckets.half[h]);
            if (f->level[w] < INFINITY)
                continue;
            f->level[w] = fmax(f->level[v], height(f, w));
            push(f, w);
        }
    }
    return STATUS_OK;
}

/* --- pools ----------------------------------------------------------------------------------- */

/* What stands above the part of a triangle below a level, mm3; negative under a roof. */
static double depth_over(const struct flood *f, size_t t, double level)
{
    const uint32_t *v = mesh_triangle(f->body)[t].v;
    struct vec p[3], cut[4];
    int n = 0;
    for (int k = 0; k < 3; k++)
        p[k] = point_vec(mesh_point(f->body)[v[k]]);
    for (int k = 0; k < 3; k++) {
        struct vec a = p[k], b = p[(k + 1) % 3];
        if (a.z < level)
            cut[n++] = a;
        if ((a.z < level) != (b.z < level))
            cut[n++] = vec_along(a, (level - a.z) / (b.z - a.z), vec_sub(b, a));
    }
    double sum = 0;
    for (int k = 1; k + 1 < n; k++) {
        struct vec a = vec_sub(cut[k], cut[0]), b = vec_sub(cut[k + 1], cut[0]);
        double mean = level - (cut[0].z + cut[k].z + cut[k + 1].z) / 3;
        sum += mean * (a.x * b.y - a.y * b.x) / 2;
    }
    return sum;
}

/* Of a cavity that nothing leads out of, the triangle's share of the volume. */
static double share_of(const struct flood *f, size_t t)
{
    const uint32_t *v = mesh_triangle(f->body)[t].v;
    struct vec a = point_vec(mesh_point(f->body)[v[0]]);
    return -vec_dot(a, vec_cross(point_vec(mesh_point(f->body)[v[1]]),
                                 point_vec(mesh_point(f->body)[v[2]]))) /
           6;
}

static bool is_under(const struct flood *f, uint32_t v)
{
    return !f->free[v] && f->level[v] > height(f, v);
}

/* The lowest corner of a triangle that lies under a level; NO_INDEX: none does. */
static uint32_t lowest_under(const struct flood *f, size_t t)
{
    uint32_t lowest = NO_INDEX;
    for (int k = 0; k < 3; k++) {
        uint32_t v = mesh_triangle(f->body)[t].v[k];
        if (is_under(f, v) && (lowest == NO_INDEX || height(f, v) < height(f, lowest)))
            lowest = v;
    }
    return lowest;
}

/* Lists the vertices of the pool that a vertex is in, and finds its bottom. */
static enum status list_pool(const struct flood *f, uint32_t *set, uint32_t pool,
                             struct trapped *out)
{
    uint32_t bottom = pool;
    size_t count = 0;
    for (uint32_t v = 0; v < mesh_vertices(f->body); v++)
        count += is_under(f, v) && sets_find(set, v) == pool;
    out->vertex = scratch_new(count, sizeof *out->vertex);
    if (!out->vertex)
        return job_fail_memory(f->job, count * sizeof *out->vertex);
    for (uint32_t v = 0; v < mesh_vertices(f->body); v++)
        if (is_under(f, v) && sets_find(set, v) == pool) {
            out->vertex[out->vertices++] = v;
            bottom = height(f, v) < height(f, bottom) ? v : bottom;
        }
    out->at = mesh_world(f->body, point_vec(mesh_point(f->body)[bottom]));
    return STATUS_OK;
}

static enum status sum_pools(struct flood *f, struct trapped *out)
{
    size_t vertices = mesh_vertices(f->body);
    uint32_t *set = f->heap, lowest = NO_INDEX; /* the heap is empty and as long */
    double *volume = scratch_new(vertices, sizeof *volume);
    if (!volume)
        return job_fail_memory(f->job, vertices * sizeof *volume);
    for (uint32_t v = 0; v < vertices; v++) {
        set[v] = v;
        volume[v] = 0;
    }
    for (size_t t = 0; t < mesh_triangles(f->body) && !is_time(f, t); t++) {
        const uint32_t *v = mesh_triangle(f->body)[t].v;
        for (int k = 0; k < 3; k++)
            if (is_under(f, v[k]) && is_under(f, v[(k + 1) % 3]))
                sets_unite(set, v[k], v[(k + 1) % 3]);
    }
    for (size_t t = 0; t < mesh_triangles(f->body) && !is_time(f, t); t++) {
        uint32_t v = lowest_under(f, t);
        if (v != NO_INDEX)
            volume[sets_find(set, v)] +=
                f->level[v] < INFINITY ? depth_over(f, t, f->level[v]) : share_of(f, t);
    }
    for (uint32_t v = 0; v < vertices; v++)
        if (set[v] == v && volume[v] > drop) {
            out->pools++;
            out->volume += volume[v];
            if (volume[v] > out->largest) {
                out->largest = volume[v];
                lowest = v;
            }
        }
    scratch_free(volume);
    if (job_cancelled(f->job))
        return job_fail_cancelled(f->job);
    return lowest == NO_INDEX ? STATUS_OK : list_pool(f, set, lowest, out);
}

enum status trapped_find(const struct mesh *body, const struct mesh *outside, double wall,
                         struct trapped *out, struct job *job)
{
    struct flood f = {.body = body, .job = job};
    size_t vertices = mesh_vertices(body);
    *out = (struct trapped){0};
    f.level = scratch_new(vertices, sizeof *f.level);
    f.free = scratch_new(vertices, sizeof *f.free);
    f.heap = scratch_new(vertices, sizeof *f.heap);
    enum status status =
        f.level && f.free && f.heap ? STATUS_OK : job_fail_memory(job, vertices * 13);
    if (status == STATUS_OK)
        status = buckets_make(body, BUCKET_FROM, &f.buckets, job);
    if (status == STATUS_OK) {
        status = find_free(&f, outside, wall);
        if (status == STATUS_OK)
            status = flow(&f);
        if (status == STATUS_OK)
            status = sum_pools(&f, out);
        buckets_release(&f.buckets);
    }
    scratch_free(f.level);
    scratch_free(f.free);
    scratch_free(f.heap);
    return status;
}
