/* From a mesh's points to the picture. Inside raster only. */
#ifndef FETTLE_RASTER_POSE_H
#define FETTLE_RASTER_POSE_H

#include "core/mesh.h"
#include "raster/clip.h"

/* How a mesh's points become view coordinates (view = turn * local + shift) and shots. All in
 * double: the shift takes the mesh's own origin out before anything is rounded. */
struct pose {
    struct vec turn[3]; /* rows */
    struct vec shift;
    bool perspective;
    double eye, near;
    double scale[2], middle[2]; /* to steps of shots */
};

static inline struct pose pose_of(const struct lens *lens, const struct mesh *mesh)
{
    struct pose pose = {.perspective = lens->perspective, .eye = lens->eye, .near = lens->near};
    for (int i = 0; i < 3; i++)
        pose.turn[i] = lens->axis[i];
    for (int i = 0; i < 2; i++) {
        pose.scale[i] = lens->scale[i] * SHOT_ONE;
        pose.middle[i] = lens->middle[i] * SHOT_ONE;
    }
    pose.shift = lens_view(lens, vec(mesh->origin[0], mesh->origin[1], mesh->origin[2]));
    return pose;
}

static inline struct vec pose_apply(const struct pose *pose, struct point p)
{
    struct vec local = point_vec(p);
    return vec(vec_dot(pose->turn[0], local) + pose->shift.x,
               vec_dot(pose->turn[1], local) + pose->shift.y,
               vec_dot(pose->turn[2], local) + pose->shift.z);
}

static inline struct shot pose_shot_level(const struct pose *pose, struct point p)
{
    struct vec v = pose_apply(pose, p);
    return shot_of(v.x * pose->scale[0] + pose->middle[0], v.y * pose->scale[1] + pose->middle[1],
                   -v.z, false);
}

static inline struct shot pose_shot_perspective(const struct pose *pose, struct point p)
{
    struct vec v = pose_apply(pose, p);
    double away = pose->eye - v.z, k = pose->eye / away;
    return shot_of(v.x * k * pose->scale[0] + pose->middle[0],
                   v.y * k * pose->scale[1] + pose->middle[1], -1 / away, !(away > pose->near));
}

static inline struct shot pose_shot(const struct pose *pose, struct point p)
{
    return pose->perspective ? pose_shot_perspective(pose, p) : pose_shot_level(pose, p);
}

#endif
