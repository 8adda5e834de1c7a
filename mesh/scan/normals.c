#include "scan/normals.h"

#include "core/eigen.h"
#include "core/job.h"
#include "core/subset.h"
#include "core/topology.h"
#include "core/tree.h"
#include "scan/noise.h"
#include "scan/normals_parts.h"

/* --- planes ---------------------------------------------------------------------------------- */

/* The normal of the plane through the middle of the points with the least sum of squares; zero when
 * they lie on a line. */
static struct vec plane_normal(const struct point *point, const struct neighbour *near,
                               size_t count)
{
    struct vec middle = vec(0, 0, 0);
    for (size_t i = 0; i < count; i++)
        middle = vec_along(middle, 1.0 / (double)count, point_vec(point[near[i].vertex]));
    double m[9] = {0}, value[3], vector[9];
    for (size_t i = 0; i < count; i++) {
        struct vec d = vec_sub(point_vec(point[near[i].vertex]), middle);
        const double a[3] = {d.x, d.y, d.z};
        for (int j = 0; j < 9; j++)
            m[j] += a[j / 3] * a[j % 3];
    }
    eigen_symmetric(3, m, value, vector);
    if (!(value[1] > 1e-12 * value[2]))
        return vec(0, 0, 0);
    return vec_unit(vec(vector[0], vector[1], vector[2]));
}

static void estimate_point(const struct estimate *e, uint32_t v)
{
    struct neighbour near[NORMALS_AROUND_MOST];
    const struct point *point = mesh_point(e->cloud);
    size_t count = tree_neighbours(e->tree, point_vec(point[v]), INFINITY, e->around, near);
    e->normal[v] = vec_point(plane_normal(point, near, count));
    unsigned links = 0;
    for (size_t i = 0; i < count && links < SIDES_LINKS; i++)
        if (near[i].vertex != v)
            e->link[v][links++] = near[i].vertex;
    while (links < SIDES_LINKS)
        e->link[v][links++] = v;
}

static void estimate_points(const struct estimate *e)
{
    size_t count = mesh_vertices(e->cloud);
#pragma omp parallel for num_threads(job_threads(e->job)) schedule(dynamic)
    for (size_t from = 0; from < count; from += SIDES_BLOCK)
        if (job_step(e->job, SIDES_BLOCK))
            for (size_t v = from; v < from + SIDES_BLOCK && v < count; v++)
                estimate_point(e, (uint32_t)v);
}

/* --- all of it ------------------------------------------------------------------------------- */

static enum status estimate_all(struct estimate *e)
{
    size_t count = mesh_vertices(e->cloud);
    e->tree = mesh_tree(e->cloud, e->job);
    if (!e->tree)
        return job_status(e->job);
    e->link = scratch_new(count, sizeof *e->link);
    e->bend = scratch_new(count, sizeof *e->bend);
    e->parent = scratch_new(count, sizeof *e->parent);
    e->against = scratch_new(count, sizeof *e->against);
    if (!e->link || !e->bend || !e->parent || !e->against)
        return job_fail_memory(e->job, count * (sizeof *e->link + sizeof *e->bend + 5));
    job_phase(e->job, "estimating normals", 600, count);
    estimate_points(e);
    return job_cancelled(e->job) ? job_fail_cancelled(e->job) : sides_agree(e);
}

struct point *normals_estimate(const struct mesh *mesh, unsigned around, struct job *job)
{
    struct estimate e = {
        .around = around, .view = mesh_attribute(mesh, ATTRIBUTE_view), .job = job};
    size_t count = mesh_vertices(mesh);
    struct mesh *cloud = mesh_cloud(mesh, job);
    if (!cloud)
        return NULL;
    e.cloud = cloud;
    e.normal = scratch_new(count, sizeof *e.normal);
    enum status status =
        e.normal ? estimate_all(&e) : job_fail_memory(job, count * sizeof *e.normal);
    scratch_free(e.link);
    scratch_free(e.bend);
    scratch_free(e.parent);
    scratch_free(e.against);
    mesh_free(cloud);
    if (status == STATUS_OK)
        return e.normal;
    scratch_free(e.normal);
    return NULL;
}

/* A copy of given normals, each made unit. */
static struct point *copied(const struct point *given, size_t count, struct job *job)
{
    struct point *normal = scratch_new(count, sizeof *normal);
    if (!normal)
        job_fail_memory(job, count * sizeof *normal);
    for (size_t v = 0; v < count && normal; v++)
        normal[v] = vec_point(vec_unit(point_vec(given[v])));
    return normal;
}

/* Of a cloud whose file tells none. */
static struct point *estimated(const struct mesh *mesh, struct job *job)
{
    struct noise noise;
    if (noise_measure(mesh, NULL, &noise, job) != STATUS_OK)
        return NULL;
    unsigned around = noise.around > NORMALS_AROUND ? noise.around : NORMALS_AROUND;
    return normals_estimate(mesh, around < NORMALS_AROUND_MOST ? around : NORMALS_AROUND_MOST, job);
}

struct point *normals_of(const struct mesh *mesh, struct job *job)
{
    const struct point *given = mesh_attribute(mesh, ATTRIBUTE_normal);
    if (mesh_triangles(mesh) == 0)
        return given ? copied(given, mesh_vertices(mesh), job) : estimated(mesh, job);
    const struct normals *normals = mesh_normals(mesh, job);
    return normals ? copied(normals->vertex, mesh_vertices(mesh), job) : NULL;
}
