/* Which vertices stand on the table: those clearly above it, and those a little above it that hang
 * together with them across edges. The vertices clearly above are one set
 * (core/sets.h), lower than all, from the start, so only the few between are ever united. */
#include "core/job.h"
#include "core/sets.h"
#include "scan/clear_parts.h"

static void unite_edges(const struct clearing *c, uint32_t *parent, size_t t)
{
    const uint32_t *v = mesh_triangle(c->mesh)[t].v;
    for (int k = 0; k < 3; k++) {
        float a = c->height[v[k]], b = c->height[v[(k + 1) % 3]];
        bool over = a > c->low && b > c->low, between = a <= c->high || b <= c->high;
        if (over && between)
            sets_unite(parent, v[k] + 1, v[(k + 1) % 3] + 1);
    }
}

enum status clear_by_edges(struct clearing *c)
{
    size_t vertices = mesh_vertices(c->mesh);
    uint32_t *parent = scratch_new(vertices + 1, sizeof *parent);
    if (!parent)
        return job_fail_memory(c->job, vertices * sizeof *parent);
    parent[0] = 0; /* the set of what is clearly above; vertex v is v + 1 */
    for (size_t v = 0; v < vertices; v++)
        parent[v + 1] = c->height[v] > c->high ? 0 : (uint32_t)v + 1;
    for (size_t t = 0; t < mesh_triangles(c->mesh) && !stopped(c, t); t++)
        unite_edges(c, parent, t);
    for (size_t v = 0; v < vertices && !stopped(c, v); v++)
        c->stands[v] = c->height[v] > c->low && sets_find(parent, (uint32_t)v + 1) == 0;
    scratch_free(parent);
    return job_cancelled(c->job) ? job_fail_cancelled(c->job) : STATUS_OK;
}
