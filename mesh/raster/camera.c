#include "raster/camera.h"

#include <cglm/cglm.h>

#include "raster/lens.h"

static const double height_least = 1e-6, height_most = 1e12;
static const double margin = 1.08; /* of what is fitted into the picture */

static double radians(double degrees)
{
    return degrees * (GLM_PI / 180);
}

/* cglm wants its quaternions aligned; the camera's need not be. */
static void turn_get(const struct camera *camera, versor q)
{
    glm_quat_init(q, camera->turn[0], camera->turn[1], camera->turn[2], camera->turn[3]);
    if (!(glm_quat_norm(q) > 1e-3f))
        glm_quat_identity(q);
    glm_quat_normalize(q);
}

static void turn_set(struct camera *camera, versor q)
{
    glm_quat_normalize(q);
    for (int i = 0; i < 4; i++)
        camera->turn[i] = q[i];
}

/* q turned further about a view axis. */
static void turn_about(versor q, double angle, float x, float y, float z)
{
    versor more, was;
    glm_quat(more, (float)angle, x, y, z);
    glm_quat_copy(q, was);
    glm_quat_mul(more, was, q);
}

static double eye_distance(const struct camera *camera)
{
    double field = fmin(fmax(camera->field, 1), 150);
    return camera->height / 2 / tan(radians(field) / 2);
}

struct lens lens_of(const struct camera *camera, int width, int height, double sample_aspect)
{
    struct lens lens = {.centre = camera->centre, .perspective = camera->perspective};
    versor q;
    mat3 m;
    turn_get(camera, q);
    glm_quat_mat3(q, m);
    for (int i = 0; i < 3; i++)
        lens.axis[i] = vec(m[0][i], m[1][i], m[2][i]);
    /* cglm reckons in float: made perpendicular and of length 1 in double. */
    lens.axis[2] = vec_unit(lens.axis[2]);
    lens.axis[0] = vec_unit(vec_cross(lens.axis[1], lens.axis[2]));
    lens.axis[1] = vec_cross(lens.axis[2], lens.axis[0]);
    lens.eye = eye_distance(camera);
    lens.near = lens.eye * 1e-3;
    double scale = height / camera->height;
    lens.scale[0] = scale / sample_aspect;
    lens.scale[1] = -scale;
    lens.mm[0] = 1 / lens.scale[0];
    lens.mm[1] = 1 / lens.scale[1];
    lens.middle[0] = width / 2.0;
    lens.middle[1] = height / 2.0;
    return lens;
}

struct vec lens_turn(const struct lens *lens, struct vec direction)
{
    return vec(vec_dot(lens->axis[0], direction), vec_dot(lens->axis[1], direction),
               vec_dot(lens->axis[2], direction));
}

struct vec lens_view(const struct lens *lens, struct vec world)
{
    return lens_turn(lens, vec_sub(world, lens->centre));
}

struct vec lens_world(const struct lens *lens, struct vec view)
{
    struct vec world = vec_along(lens->centre, view.x, lens->axis[0]);
    world = vec_along(world, view.y, lens->axis[1]);
    return vec_along(world, view.z, lens->axis[2]);
}

void camera_axes(const struct camera *camera, struct vec *right, struct vec *up, struct vec *toward)
{
    struct lens lens = lens_of(camera, 1, 1, 1);
    struct vec *out[3] = {right, up, toward};
    for (int i = 0; i < 3; i++)
        if (out[i])
            *out[i] = lens.axis[i];
}

void camera_look(struct camera *camera, enum camera_side side)
{
    /* Degrees: first about the world's z, then about the view's x. */
    static const double angle[CAMERA_SIDES][2] = {
        [CAMERA_FRONT] = {0, -90},   [CAMERA_BACK] = {180, -90}, [CAMERA_LEFT] = {90, -90},
        [CAMERA_RIGHT] = {-90, -90}, [CAMERA_TOP] = {0, 0},      [CAMERA_BOTTOM] = {0, 180},
        [CAMERA_CORNER] = {-35, -60}};
    versor q;
    glm_quat_identity(q);
    turn_about(q, radians(angle[side][0]), 0, 0, 1);
    turn_about(q, radians(angle[side][1]), 1, 0, 0);
    turn_set(camera, q);
}

enum camera_side camera_next_side(const struct camera *camera, int way)
{
    static const enum camera_side round[4] = {CAMERA_FRONT, CAMERA_RIGHT, CAMERA_BACK, CAMERA_LEFT};
    struct vec toward;
    camera_axes(camera, NULL, NULL, &toward);
    if (hypot(toward.x, toward.y) < 0.01)
        return CAMERA_FRONT;
    double quarters = atan2(toward.x, -toward.y) / M_PI_2; /* 0 in front, 1 on the right */
    int next = (int)(way > 0 ? floor(quarters + 0.01) + 1 : ceil(quarters - 0.01) - 1);
    return round[(next % 4 + 4) % 4];
}

void camera_turn(struct camera *camera, double right, double up, double clockwise)
{
    versor q;
    turn_get(camera, q);
    turn_about(q, right, 0, 1, 0);
    turn_about(q, -up, 1, 0, 0);
    turn_about(q, -clockwise, 0, 0, 1);
    turn_set(camera, q);
}

void camera_pan(struct camera *camera, double right, double up)
{
    struct vec x, y;
    camera_axes(camera, &x, &y, NULL);
    camera->centre = vec_along(camera->centre, -right * camera->height, x);
    camera->centre = vec_along(camera->centre, -up * camera->height, y);
}

void camera_zoom(struct camera *camera, double factor)
{
    if (factor > 0)
        camera->height = fmin(fmax(camera->height / factor, height_least), height_most);
}

void camera_zoom_about(struct camera *camera, double factor, struct vec about)
{
    double before = camera->height;
    camera_zoom(camera, factor);
    /* Centre and eye come nearer to it by the same share, so it is seen in the same direction. */
    struct vec from = vec_sub(camera->centre, about);
    camera->centre = vec_along(about, camera->height / before, from);
}

void camera_set_axes(struct camera *camera, struct vec right, struct vec up, struct vec toward)
{
    const struct vec axis[3] = {right, up, toward};
    mat3 m;
    versor q;
    for (int i = 0; i < 3; i++) {
        m[0][i] = (float)axis[i].x;
        m[1][i] = (float)axis[i].y;
        m[2][i] = (float)axis[i].z;
    }
    glm_mat3_quat(m, q);
    turn_set(camera, q);
}

bool camera_same(const struct camera *a, const struct camera *b)
{
    bool same = a->height == b->height && a->perspective == b->perspective && a->field == b->field;
    for (int i = 0; i < 4; i++)
        same = same && a->turn[i] == b->turn[i];
    return same && vec_length2(vec_sub(a->centre, b->centre)) == 0;
}

double camera_height_for(const struct camera *camera, struct vec v, double aspect)
{
    double reach = 2 * fmax(fabs(v.y), fabs(v.x) / aspect);
    if (!camera->perspective)
        return reach;
    /* The eye's distance is in proportion to the height: what lies nearer needs more of it. */
    double unit = eye_distance(camera) / camera->height;
    return reach + v.z / unit;
}

void camera_set_height(struct camera *camera, double height)
{
    height *= margin;
    camera->height = height > height_least && isfinite(height) ? fmin(height, height_most) : 1;
}

void camera_fit(struct camera *camera, struct vec min, struct vec max, double aspect)
{
    camera->centre = vec_scale(vec_add(min, max), 0.5);
    camera->height = 1;
    aspect = aspect > 0 ? aspect : 1;
    struct lens lens = lens_of(camera, 1, 1, 1);
    double height = 0;
    for (int i = 0; i < 8; i++) {
        struct vec corner =
            vec(i & 1 ? max.x : min.x, i & 2 ? max.y : min.y, i & 4 ? max.z : min.z);
        height = fmax(height, camera_height_for(camera, lens_view(&lens, corner), aspect));
    }
    camera_set_height(camera, height);
}

void camera_frame(struct camera *camera, struct vec min, struct vec max, double aspect)
{
    *camera = (struct camera){.field = 35};
    camera_look(camera, CAMERA_CORNER);
    camera_fit(camera, min, max, aspect);
}

bool camera_project(const struct camera *camera, int width, int height, double sample_aspect,
                    struct vec world, struct vec *out)
{
    struct lens lens = lens_of(camera, width, height, sample_aspect);
    struct vec view = lens_view(&lens, world);
    double k = 1;
    if (lens.perspective) {
        if (!(lens.eye - view.z > lens.near))
            return false;
        k = lens.eye / (lens.eye - view.z);
    }
    *out = vec(lens.middle[0] + lens.scale[0] * view.x * k,
               lens.middle[1] + lens.scale[1] * view.y * k, -view.z);
    return true;
}

void camera_ray(const struct camera *camera, int width, int height, double sample_aspect, double x,
                double y, struct vec *from, struct vec *along)
{
    struct lens lens = lens_of(camera, width, height, sample_aspect);
    struct vec at = lens_unproject(&lens, x, y, 0);
    if (!lens.perspective) {
        *from = lens_world(&lens, at);
        *along = vec_scale(lens.axis[2], -1);
        return;
    }
    struct vec eye = vec(0, 0, lens.eye);
    *from = lens_world(&lens, eye);
    lens.centre = vec(0, 0, 0);
    *along = vec_unit(lens_world(&lens, vec_sub(at, eye)));
}

double camera_sample_size(const struct camera *camera, int height)
{
    return height > 0 ? camera->height / height : camera->height;
}
