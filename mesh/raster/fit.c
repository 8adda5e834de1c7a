/* The camera that shows given pieces as large as they go. */
#include <omp.h>

#include "core/job.h"
#include "raster/pose.h"
#include "raster/raster.h"

/* The heights of the picture that the points need so as not to leave it on each side, and their
 * depths; -INFINITY where there are none. Heights go by the present centre. */
struct need {
    double right, left, above, below, near, far;
};

static void add_piece(const struct lens *lens, double aspect, const struct mesh *mesh,
                      struct need *need, struct job *job)
{
    const struct pose pose = pose_of(lens, mesh);
    const struct point *point = mesh_point(mesh);
    const size_t count = mesh_vertices(mesh);
    /* In perspective the eye's distance grows with the height: what lies nearer needs more. */
    const double deep = lens->perspective ? 1 / lens->eye : 0, wide = 2 / aspect;
    double right = need->right, left = need->left, above = need->above, below = need->below;
    double near = need->near, far = need->far;
#pragma omp parallel for reduction(max                                                             \
                                   : right, left, above, below, near, far)                         \
    num_threads(job_threads(job))
    for (size_t i = 0; i < count; i++) {
        struct vec v = pose_apply(&pose, point[i]);
        double more = v.z * deep, x = v.x * wide, y = v.y * 2;
        right = x + more > right ? x + more : right;
        left = more - x > left ? more - x : left;
        above = y + more > above ? y + more : above;
        below = more - y > below ? more - y : below;
        near = v.z > near ? v.z : near;
        far = -v.z > far ? -v.z : far;
    }
    *need = (struct need){right, left, above, below, near, far};
}

void raster_fit(struct camera *camera, const struct raster_piece *piece, size_t pieces,
                double aspect, struct job *job)
{
    aspect = aspect > 0 ? aspect : 1;
    struct camera unit = *camera;
    unit.height = 1; /* so that the eye's distance is a multiple of the height */
    struct lens lens = lens_of(&unit, 1, 1, 1);
    struct need need = {-INFINITY, -INFINITY, -INFINITY, -INFINITY, -INFINITY, -INFINITY};
    for (size_t i = 0; i < pieces; i++)
        add_piece(&lens, aspect, piece[i].mesh, &need, job);
    double z = (need.near - need.far) / 2;
    if (!isfinite(z))
        return;
    double more = lens.perspective ? z / lens.eye : 0; /* what moving the centre there saves */
    struct vec centre =
        vec((need.right - need.left) * aspect / 4, (need.above - need.below) / 4, z);
    camera->centre = lens_world(&lens, centre);
    camera_set_height(camera, fmax(need.right + need.left, need.above + need.below) / 2 - more);
}
