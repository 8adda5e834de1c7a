/* The camera that shows given pieces as large as they go. */
#include <omp.h>

#include "core/job.h"
#include "raster/pose.h"
#include "raster/raster.h"

static struct vec least(struct vec a, struct vec b)
{
    return vec(a.x < b.x ? a.x : b.x, a.y < b.y ? a.y : b.y, a.z < b.z ? a.z : b.z);
}

static struct vec most(struct vec a, struct vec b)
{
    return vec(a.x > b.x ? a.x : b.x, a.y > b.y ? a.y : b.y, a.z > b.z ? a.z : b.z);
}

#pragma omp declare reduction(least                                                                \
                              : struct vec                                                         \
                              : omp_out = least(omp_out, omp_in)) initializer(omp_priv = omp_orig)
#pragma omp declare reduction(most                                                                 \
                              : struct vec                                                         \
                              : omp_out = most(omp_out, omp_in)) initializer(omp_priv = omp_orig)

/* Widens the box of view coordinates by a mesh's points. */
static void stretch(const struct lens *lens, const struct mesh *mesh, struct vec *low,
                    struct vec *high, struct job *job)
{
    const struct pose pose = pose_of(lens, mesh);
    const struct point *point = mesh_point(mesh);
    size_t count = mesh_vertices(mesh);
    struct vec a = *low, b = *high;
#pragma omp parallel for reduction(least : a) reduction(most : b) num_threads(job_threads(job))
    for (size_t i = 0; i < count; i++) {
        struct vec v = pose_apply(&pose, point[i]);
        a = least(a, v);
        b = most(b, v);
    }
    *low = a;
    *high = b;
}

/* The greatest height that one of the points needs. */
static double height_of(const struct camera *camera, const struct lens *lens,
                        const struct mesh *mesh, double aspect, struct job *job)
{
    const struct pose pose = pose_of(lens, mesh);
    const struct point *point = mesh_point(mesh);
    size_t count = mesh_vertices(mesh);
    double height = 0;
#pragma omp parallel for reduction(max : height) num_threads(job_threads(job))
    for (size_t i = 0; i < count; i++) {
        double its = camera_height_for(camera, pose_apply(&pose, point[i]), aspect);
        height = its > height ? its : height;
    }
    return height;
}

void raster_fit(struct camera *camera, const struct raster_piece *piece, size_t pieces,
                double aspect, struct job *job)
{
    struct lens lens = lens_of(camera, 1, 1, 1);
    struct vec low = vec(INFINITY, INFINITY, INFINITY), high = vec_scale(low, -1);
    for (size_t i = 0; i < pieces; i++)
        stretch(&lens, piece[i].mesh, &low, &high, job);
    if (!(low.x <= high.x))
        return;
    camera->centre = lens_world(&lens, vec_scale(vec_add(low, high), 0.5));
    lens = lens_of(camera, 1, 1, 1);
    double height = 0;
    for (size_t i = 0; i < pieces; i++)
        height = fmax(height, height_of(camera, &lens, piece[i].mesh, aspect, job));
    camera_set_height(camera, height);
}
