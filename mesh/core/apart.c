#include "core/apart.h"

#include "core/job.h"
#include "core/nth.h"
#include "core/tree.h"

enum { PLACES = 16384 };

static size_t place(size_t i, size_t places, size_t count)
{
    return (size_t)((double)i * (double)count / (double)places);
}

static double to_nearest(const struct mesh *mesh, const struct tree *tree, size_t v)
{
    struct neighbour near[2];
    size_t n = tree_neighbours(tree, point_vec(mesh_point(mesh)[v]), INFINITY, 2, near);
    return n < 2 ? 0 : sqrt(near[1].distance2); /* the first is the point itself, or in its place */
}

static enum status of_cloud(const struct mesh *mesh, size_t places, double *length, struct job *job)
{
    const struct tree *tree = mesh_tree(mesh, job);
    if (!tree)
        return job_status(job);
#pragma omp parallel for num_threads(job_threads(job)) schedule(static)
    for (size_t i = 0; i < places; i++)
        length[i] = to_nearest(mesh, tree, place(i, places, mesh_vertices(mesh)));
    return STATUS_OK;
}

static void of_mesh(const struct mesh *mesh, size_t places, double *length)
{
    for (size_t i = 0; i < places; i++) {
        const uint32_t *v = mesh_triangle(mesh)[place(i, places, mesh_triangles(mesh))].v;
        struct vec a = point_vec(mesh_point(mesh)[v[i % 3]]);
        length[i] = vec_length(vec_sub(a, point_vec(mesh_point(mesh)[v[(i + 1) % 3]])));
    }
}

enum status mesh_spacing(const struct mesh *mesh, double *out, struct job *job)
{
    size_t triangles = mesh_triangles(mesh), count = triangles ? triangles : mesh_vertices(mesh);
    size_t places = triangles ? 3 * count : count;
    places = places < PLACES ? places : PLACES;
    *out = 0;
    if (mesh_vertices(mesh) < 2)
        return STATUS_OK;
    double *length = scratch_new(places, sizeof *length);
    if (!length)
        return job_fail_memory(job, places * sizeof *length);
    enum status status = STATUS_OK;
    if (triangles)
        of_mesh(mesh, places, length);
    else
        status = of_cloud(mesh, places, length, job);
    if (status == STATUS_OK)
        *out = nth_smallest(length, places, places / 2);
    scratch_free(length);
    return status;
}
