/* Where the scanner stood, as files of points say it: elements "camera" with view_px, view_py and
 * view_pz (the convention of a general-purpose library for point clouds, from memory), or a range
 * grid, whose frame is the scanner's. */
#include "core/job.h"
#include "core/mesh.h"
#include "core/tree.h"
#include "format/ply.h"

enum { BLOCK = 65536 }; /* points between two looks at the job */

struct box { /* of all points that are somewhere, in the file's numbers */
    struct vec middle;
    double half; /* of its diagonal */
};

static enum status box_of(const struct gather *gather, struct box *out, struct job *job)
{
    const struct point *point = gather->point.array->data;
    const double *o = gather->origin;
    struct vec low = vec(INFINITY, INFINITY, INFINITY), high = vec_scale(low, -1);
    for (size_t v = 0; v < gather->point.used; v++) {
        struct vec p = point_vec(point[v]);
        if (v % BLOCK == 0 && job_cancelled(job))
            return job_fail_cancelled(job);
        if (!isfinite(vec_length2(p)))
            continue;
        low = vec(fmin(low.x, p.x), fmin(low.y, p.y), fmin(low.z, p.z));
        high = vec(fmax(high.x, p.x), fmax(high.y, p.y), fmax(high.z, p.z));
    }
    out->middle = vec_add(vec_scale(vec_add(low, high), 0.5), vec(o[0], o[1], o[2]));
    out->half = vec_length(vec_sub(high, low)) / 2;
    return STATUS_OK;
}

/* Many writers leave a camera at 0,0,0 that never was there, but a scan in the scanner's own frame
 * has it there too. Such a camera looks along +z (from memory), and is believed when the middle of
 * the points' box lies farther ahead than half the box's diagonal. */
static bool believed(const double at[3], const struct box *box)
{
    if (at[0] != 0 || at[1] != 0 || at[2] != 0)
        return isfinite(at[0] + at[1] + at[2]);
    return box->middle.z > box->half;
}

/* Room for a view a point, with zeros for those that nobody knows of. */
static struct point *views_of(struct gather *gather, struct job *job)
{
    struct list *view = &gather->vertex_attribute[ATTRIBUTE_view];
    view->stride = sizeof(struct point);
    struct point *to = gather_more(gather, view, gather->point.used);
    if (!to)
        job_fail_memory(job, gather->point.used * sizeof *to);
    return to;
}

/* --- cameras --------------------------------------------------------------------------------- */

/* Those that are believed, beside the gather's origin, as a cloud. NULL when out of memory. */
static struct mesh *cameras_of(const struct gather *gather, const struct box *box, struct job *job)
{
    const struct camera *camera = gather->camera.array->data;
    const double *o = gather->origin;
    struct mesh *cloud = mesh_new(gather->camera.used, 0);
    size_t count = 0;
    if (!cloud) {
        job_fail_memory(job, gather->camera.used * sizeof(struct point));
        return NULL;
    }
    for (size_t i = 0; i < gather->camera.used; i++) {
        const double *at = camera[i].at;
        if (believed(at, box))
            mesh_point_edit(cloud)[count++] =
                vec_point(vec(at[0] - o[0], at[1] - o[1], at[2] - o[2]));
    }
    array_shrink(cloud->point, count);
    return cloud;
}

/* Each point's direction to the nearest camera. */
static enum status face_cameras(struct gather *gather, const struct mesh *cameras, struct job *job)
{
    const struct tree *tree = mesh_tree(cameras, job);
    struct point *to = tree ? views_of(gather, job) : NULL;
    if (!to)
        return job_status(job);
    const struct point *point = gather->point.array->data;
    for (size_t v = 0; v < gather->point.used; v++) {
        struct vec p = point_vec(point[v]);
        if (v % BLOCK == 0 && job_cancelled(job))
            return job_fail_cancelled(job);
        to[v] = (struct point){0, 0, 0};
        if (!isfinite(vec_length2(p)))
            continue;
        uint32_t nearest = tree_nearest(tree, p, INFINITY).triangle;
        if (nearest == NO_INDEX)
            continue;
        struct vec d = vec_unit(vec_sub(point_vec(mesh_point(cameras)[nearest]), p));
        to[v] = isfinite(vec_length2(d)) ? vec_point(d) : to[v];
    }
    return STATUS_OK;
}

static void tell(const struct ply_header *header, const struct gather *gather,
                 const struct mesh *cameras, struct job *job)
{
    struct vec at = vec_add(point_vec(mesh_point(cameras)[0]),
                            vec(gather->origin[0], gather->origin[1], gather->origin[2]));
    if (mesh_vertices(cameras) == 1)
        job_note(job,
                 "\"%s\": it names where the scanner stood (%g, %g, %g); estimated normals face it",
                 header->bytes->name, at.x, at.y, at.z);
    else
        job_note(job,
                 "\"%s\": it names %zu places where the scanner stood, but not which points were "
                 "seen from which; each point is taken as seen from the nearest, and where most "
                 "of a part agrees its estimated normals face there",
                 header->bytes->name, mesh_vertices(cameras));
}

enum status ply_camera(const struct ply_header *header, struct gather *gather, struct job *job)
{
    struct box box;
    if (!gather->camera.used || gather->triangle.used || !gather->point.used ||
        gather->vertex_attribute[ATTRIBUTE_view].used)
        return STATUS_OK;
    enum status status = box_of(gather, &box, job);
    struct mesh *cameras = status == STATUS_OK ? cameras_of(gather, &box, job) : NULL;
    if (!cameras)
        return job_status(job);
    if (mesh_vertices(cameras) > 0)
        status = face_cameras(gather, cameras, job);
    if (status == STATUS_OK && mesh_vertices(cameras) > 0)
        tell(header, gather, cameras, job);
    mesh_free(cameras);
    return status;
}

/* --- range grids ----------------------------------------------------------------------------- */

enum status ply_grid_side(const struct gather *gather, struct vec *from, bool *far, struct job *job)
{
    struct box box;
    *from = vec(0, 0, 1);
    *far = true;
    enum status status = gather->point.used ? box_of(gather, &box, job) : STATUS_OK;
    if (status != STATUS_OK || !gather->point.used)
        return status;
    double aside = hypot(box.middle.x, box.middle.y);
    if (fabs(box.middle.z) > box.half && fabs(box.middle.z) > aside) {
        *from = vec(0, 0, 0);
        *far = false;
    }
    return STATUS_OK;
}

enum status ply_grid_view(const struct ply_header *header, struct gather *gather, struct job *job)
{
    struct vec from;
    bool far;
    if (gather->triangle.used || !gather->point.used ||
        gather->vertex_attribute[ATTRIBUTE_view].used)
        return STATUS_OK;
    enum status status = ply_grid_side(gather, &from, &far, job);
    struct point *to = status == STATUS_OK ? views_of(gather, job) : NULL;
    if (!to)
        return job_status(job);
    const struct point *point = gather->point.array->data;
    const double *o = gather->origin;
    for (size_t v = 0; v < gather->point.used; v++) {
        struct vec p = vec_add(point_vec(point[v]), vec(o[0], o[1], o[2]));
        if (v % BLOCK == 0 && job_cancelled(job))
            return job_fail_cancelled(job);
        struct vec d = far ? from : vec_unit(vec_sub(from, p));
        to[v] = isfinite(vec_length2(p)) ? vec_point(d) : (struct point){0, 0, 0};
    }
    job_note(job, "\"%s\": a range grid is seen from %s; estimated normals face there",
             header->bytes->name, far ? "far along +z" : "0,0,0");
    return STATUS_OK;
}
