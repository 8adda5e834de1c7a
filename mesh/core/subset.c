#include "core/subset.h"

#include <string.h>

#include "core/job.h"
#include "core/lineage.h"

/* Numbers the kept triangles' vertices in the mesh's order; number[] is NO_INDEX for the rest. */
static size_t number_vertices(const struct mesh *mesh, const uint8_t *keep, uint32_t *number)
{
    size_t triangles = mesh_triangles(mesh), vertices = mesh_vertices(mesh), kept = 0;
    memset(number, 255, vertices * sizeof *number);
    for (size_t t = 0; t < triangles; t++)
        for (int k = 0; k < 3 && keep[t]; k++)
            number[mesh_triangle(mesh)[t].v[k]] = 0;
    for (size_t v = 0; v < vertices; v++)
        if (number[v] == 0)
            number[v] = (uint32_t)kept++;
    return kept;
}

static void take(const struct mesh *mesh, const uint8_t *keep, const uint32_t *number,
                 struct mesh *part, uint32_t *vertex, uint32_t *triangle)
{
    size_t n = 0;
    for (size_t v = 0; v < mesh_vertices(mesh); v++)
        if (number[v] != NO_INDEX) {
            mesh_point_edit(part)[number[v]] = mesh_point(mesh)[v];
            vertex[number[v]] = (uint32_t)v;
        }
    for (size_t t = 0; t < mesh_triangles(mesh); t++)
        if (keep[t]) {
            for (int k = 0; k < 3; k++)
                mesh_triangle_edit(part)[n].v[k] = number[mesh_triangle(mesh)[t].v[k]];
            triangle[n++] = (uint32_t)t;
        }
}

static struct mesh *build(const struct mesh *mesh, const uint8_t *keep, size_t triangles,
                          uint32_t *number, struct job *job)
{
    size_t vertices = number_vertices(mesh, keep, number);
    struct mesh *part = mesh_new(vertices, triangles);
    uint32_t *vertex = scratch_new(vertices, sizeof *vertex);
    uint32_t *triangle = scratch_new(triangles, sizeof *triangle);
    enum status status = STATUS_MEMORY;
    if (part && vertex && triangle) {
        take(mesh, keep, number, part, vertex, triangle);
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

struct mesh *mesh_subset(const struct mesh *mesh, const uint8_t *keep, struct job *job)
{
    size_t triangles = 0;
    for (size_t t = 0; t < mesh_triangles(mesh); t++)
        triangles += keep[t] != 0;
    if (triangles == mesh_triangles(mesh))
        return mesh_share(mesh);
    uint32_t *number = scratch_new(mesh_vertices(mesh), sizeof *number);
    if (!number) {
        job_fail_memory(job, mesh_vertices(mesh) * sizeof *number);
        return NULL;
    }
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
