#include "core/subset.h"

#include <string.h>

#include "core/job.h"
#include "core/lineage.h"

enum { BLOCK = 65536 }; /* triangles or vertices between two looks at cancel */

/* number[] is 0 for the vertices of kept triangles, NO_INDEX for the rest. */
static void mark_used(const struct mesh *mesh, const uint8_t *keep, uint32_t *number)
{
    memset(number, 255, mesh_vertices(mesh) * sizeof *number);
    for (size_t t = 0; t < mesh_triangles(mesh); t++)
        for (int k = 0; k < 3 && keep[t]; k++)
            number[mesh_triangle(mesh)[t].v[k]] = 0;
}

/* Numbers those marked in the mesh's order; returns how many. */
static size_t number_marked(size_t vertices, uint32_t *number)
{
    size_t kept = 0;
    for (size_t v = 0; v < vertices; v++)
        if (number[v] == 0)
            number[v] = (uint32_t)kept++;
    return kept;
}

/* False when cancelled. */
static bool take(const struct mesh *mesh, const uint8_t *keep, const uint32_t *number,
                 struct mesh *part, uint32_t *vertex, uint32_t *triangle, const struct job *job)
{
    size_t n = 0;
    for (size_t v = 0; v < mesh_vertices(mesh); v++) {
        if (v % BLOCK == 0 && job_cancelled(job))
            return false;
        if (number[v] != NO_INDEX) {
            mesh_point_edit(part)[number[v]] = mesh_point(mesh)[v];
            vertex[number[v]] = (uint32_t)v;
        }
    }
    for (size_t t = 0; t < mesh_triangles(mesh); t++) {
        if (t % BLOCK == 0 && job_cancelled(job))
            return false;
        if (keep[t]) {
            for (int k = 0; k < 3; k++)
                mesh_triangle_edit(part)[n].v[k] = number[mesh_triangle(mesh)[t].v[k]];
            triangle[n++] = (uint32_t)t;
        }
    }
    return true;
}

/* number[]: 0 for the vertices that stay, NO_INDEX for the rest. */
static struct mesh *build(const struct mesh *mesh, const uint8_t *keep, size_t triangles,
                          uint32_t *number, struct job *job)
{
    size_t vertices = number_marked(mesh_vertices(mesh), number);
    struct mesh *part = mesh_new(vertices, triangles);
    uint32_t *vertex = scratch_new(vertices, sizeof *vertex);
    uint32_t *triangle = scratch_new(triangles, sizeof *triangle);
    enum status status = STATUS_MEMORY;
    if (part && vertex && triangle && !take(mesh, keep, number, part, vertex, triangle, job)) {
        status = job_fail_cancelled(job);
    } else if (part && vertex && triangle) {
        part->joined = mesh->joined;
        const struct lineage lineage = {.plain_vertices = vertices,
                                        .vertex = vertex,
                                        .plain_triangles = triangles,
                                        .triangle = triangle};
        status = lineage_carry(&lineage, mesh, part, job);
    } else {
        job_fail_memory(job, vertices * sizeof *vertex + triangles * sizeof *triangle);
    }
    scratch_free(vertex);
    scratch_free(triangle);
    if (status == STATUS_OK)
        return part;
    mesh_free(part);
    return NULL;
}

static size_t count_kept(const uint8_t *keep, size_t count)
{
    size_t kept = 0;
    for (size_t i = 0; i < count; i++)
        kept += keep[i] != 0;
    return kept;
}

struct mesh *mesh_subset(const struct mesh *mesh, const uint8_t *keep, struct job *job)
{
    size_t triangles = count_kept(keep, mesh_triangles(mesh));
    if (triangles == mesh_triangles(mesh))
        return mesh_share(mesh);
    uint32_t *number = scratch_new(mesh_vertices(mesh), sizeof *number);
    if (!number) {
        job_fail_memory(job, mesh_vertices(mesh) * sizeof *number);
        return NULL;
    }
    mark_used(mesh, keep, number);
    struct mesh *part = build(mesh, keep, triangles, number, job);
    scratch_free(number);
    return part;
}

struct mesh *mesh_cloud(const struct mesh *mesh, struct job *job)
{
    struct mesh *cloud = mesh_new(0, 0);
    if (!cloud) {
        job_fail_memory(job, sizeof *cloud);
        return NULL;
    }
    array_free(cloud->point);
    cloud->point = array_share(mesh->point);
    for (int k = 0; k < 3; k++)
        cloud->origin[k] = mesh->origin[k];
    cloud->joined = mesh->joined;
    return cloud;
}

struct mesh *mesh_subset_points(const struct mesh *mesh, const uint8_t *keep, struct job *job)
{
    size_t vertices = mesh_vertices(mesh), triangles = mesh_triangles(mesh), kept = 0;
    if (count_kept(keep, vertices) == vertices)
        return mesh_share(mesh);
    uint32_t *number = scratch_new(vertices, sizeof *number);
    uint8_t *whole = scratch_new(triangles, 1);
    struct mesh *part = NULL;
    if (number && whole) {
        for (size_t v = 0; v < vertices; v++)
            number[v] = keep[v] ? 0 : NO_INDEX;
        for (size_t t = 0; t < triangles; t++) {
            const uint32_t *v = mesh_triangle(mesh)[t].v;
            kept += whole[t] = keep[v[0]] && keep[v[1]] && keep[v[2]];
        }
        part = build(mesh, whole, kept, number, job);
    } else {
        job_fail_memory(job, vertices * sizeof *number + triangles);
    }
    scratch_free(number);
    scratch_free(whole);
    return part;
}
