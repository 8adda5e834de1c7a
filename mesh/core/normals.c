/* Smooth normals: the unit normals of the faces around a vertex, weighted by the angle each takes
 * there (Thürmer & Wüthrich 1998), which does not depend on how the surface is cut into
 * triangles. */
#include <stdlib.h>

#include "core/buckets.h"
#include "core/job.h"
#include "core/topology.h"

enum { BLOCK = 4096 };

static struct vec corner_normal(const struct mesh *mesh, uint32_t corner)
{
    const struct triangle *triangle = mesh_triangle(mesh);
    const struct point *point = mesh_point(mesh);
    struct vec a = point_vec(point[half_from(triangle, corner)]);
    struct vec b = vec_sub(point_vec(point[half_to(triangle, corner)]), a);
    struct vec c = vec_sub(point_vec(point[half_from(triangle, half_prev(corner))]), a);
    struct vec cross = vec_cross(b, c);
    double angle = atan2(vec_length(cross), vec_dot(b, c));
    return vec_scale(vec_unit(cross), angle);
}

static void normals_range(const struct mesh *mesh, const struct buckets *corners,
                          struct point *normal, size_t from, size_t end)
{
    for (size_t v = from; v < end; v++) {
        struct vec sum = vec(0, 0, 0);
        for (uint32_t i = corners->start[v]; i < corners->start[v + 1]; i++)
            sum = vec_add(sum, corner_normal(mesh, corners->half[i]));
        normal[v] = vec_point(vec_unit(sum));
    }
}

static void normals_free(void *data)
{
    struct normals *normals = data;
    scratch_free(normals->vertex);
    free(normals);
}

static void *normals_make(const struct mesh *mesh, struct job *job)
{
    size_t vertices = mesh_vertices(mesh);
    struct buckets corners;
    if (buckets_make(mesh, BUCKET_FROM, &corners, job) != STATUS_OK)
        return NULL;
    struct normals *normals = malloc(sizeof *normals);
    struct point *normal = scratch_new(vertices, sizeof *normal);
    if (!normals || !normal) {
        job_fail_memory(job, vertices * sizeof *normal);
        buckets_release(&corners);
        scratch_free(normal);
        free(normals);
        return NULL;
    }
    normals->vertex = normal;
#pragma omp parallel for num_threads(job_threads(job)) schedule(dynamic)
    for (size_t v = 0; v < vertices; v += BLOCK)
        if (!job_cancelled(job))
            normals_range(mesh, &corners, normal, v, v + BLOCK < vertices ? v + BLOCK : vertices);
    buckets_release(&corners);
    if (job_cancelled(job)) {
        job_fail_cancelled(job);
        normals_free(normals);
        return NULL;
    }
    return normals;
}

const struct derived_row derived_normals = {normals_make, normals_free};
