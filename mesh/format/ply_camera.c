/* Where the scanner stood, as files of points say it: an element "camera" with view_px, view_py and
 * view_pz (the convention of a general-purpose library for point clouds, from memory). */
#include "core/job.h"
#include "format/ply.h"

enum { BLOCK = 65536 }; /* points between two looks at the job */

/* Many writers leave a camera at 0,0,0 that never was there, but a scan in the scanner's own frame
 * has it there too. Such a camera looks along +z (from memory), and is believed when the middle of
 * the points' box lies farther ahead than half the box's diagonal. */
static bool believed(struct vec camera, const struct gather *gather, struct job *job)
{
    const struct point *point = gather->point.array->data;
    const double *o = gather->origin;
    if (camera.x != 0 || camera.y != 0 || camera.z != 0)
        return isfinite(vec_length2(camera));
    struct vec low = vec(INFINITY, INFINITY, INFINITY), high = vec_scale(low, -1);
    for (size_t v = 0; v < gather->point.used; v++) {
        struct vec p = point_vec(point[v]);
        if (v % BLOCK == 0 && job_cancelled(job))
            return true; /* the caller looks */
        if (!isfinite(vec_length2(p)))
            continue;
        low = vec(fmin(low.x, p.x), fmin(low.y, p.y), fmin(low.z, p.z));
        high = vec(fmax(high.x, p.x), fmax(high.y, p.y), fmax(high.z, p.z));
    }
    return o[2] + (low.z + high.z) / 2 > vec_length(vec_sub(high, low)) / 2;
}

enum status ply_camera(const struct ply_header *header, struct gather *gather, struct job *job)
{
    struct list *view = &gather->vertex_attribute[ATTRIBUTE_view];
    if (gather->camera.used != 1 || gather->triangle.used || !gather->point.used || view->used)
        return STATUS_OK;
    const double *at = ((const struct camera *)gather->camera.array->data)->at;
    const double *o = gather->origin;
    if (!believed(vec(at[0], at[1], at[2]), gather, job))
        return STATUS_OK;
    struct vec camera = vec(at[0] - o[0], at[1] - o[1], at[2] - o[2]);
    view->stride = sizeof(struct point);
    struct point *to = gather_more(gather, view, gather->point.used);
    if (!to)
        return job_fail_memory(job, gather->point.used * sizeof *to);
    const struct point *point = gather->point.array->data;
    for (size_t v = 0; v < gather->point.used; v++) {
        if (v % BLOCK == 0 && job_cancelled(job))
            return job_fail_cancelled(job);
        struct vec d = vec_unit(vec_sub(camera, point_vec(point[v])));
        to[v] = isfinite(vec_length2(d)) ? vec_point(d) : (struct point){0, 0, 0};
    }
    job_note(job,
             "\"%s\": it names where the scanner stood (%g, %g, %g); estimated normals face it",
             header->bytes->name, at[0], at[1], at[2]);
    return STATUS_OK;
}
