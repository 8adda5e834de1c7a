#include "solid/place.h"

#include "core/job.h"
#include "core/turn_over.h"

static const double far_off = 1e4; /* mm: from here positions keep an origin of their own */

static const struct motion rest = {{{1, 0, 0}, {0, 1, 0}, {0, 0, 1}}, 1, {0, 0, 0}};

struct vec motion_direction(const struct motion *motion, struct vec a)
{
    const double(*m)[3] = motion->turn;
    return vec(m[0][0] * a.x + m[0][1] * a.y + m[0][2] * a.z,
               m[1][0] * a.x + m[1][1] * a.y + m[1][2] * a.z,
               m[2][0] * a.x + m[2][1] * a.y + m[2][2] * a.z);
}

struct vec motion_apply(const struct motion *motion, struct vec world)
{
    return vec_along(motion->shift, motion->scale, motion_direction(motion, world));
}

struct motion motion_shift(struct vec shift)
{
    struct motion motion = rest;
    motion.shift = shift;
    return motion;
}

/* Chooses the shift that leaves a point where it is. */
static void keep_point(struct motion *motion, struct vec about)
{
    motion->shift = vec(0, 0, 0);
    motion->shift = vec_sub(about, motion_apply(motion, about));
}

struct motion motion_turn(struct vec axis, double angle, struct vec about)
{
    struct motion motion = rest;
    double c = cos(angle), s = sin(angle), a[3] = {axis.x, axis.y, axis.z};
    const double across[3][3] = {{0, -a[2], a[1]}, {a[2], 0, -a[0]}, {-a[1], a[0], 0}};
    for (int i = 0; i < 3; i++) /* Rodrigues */
        for (int j = 0; j < 3; j++)
            motion.turn[i][j] = c * (i == j) + s * across[i][j] + (1 - c) * a[i] * a[j];
    keep_point(&motion, about);
    return motion;
}

struct motion motion_scale(double scale, struct vec about)
{
    struct motion motion = rest;
    motion.scale = scale;
    keep_point(&motion, about);
    return motion;
}

struct motion motion_mirror(struct vec normal, struct vec about)
{
    struct motion motion = rest;
    const double n[3] = {normal.x, normal.y, normal.z};
    for (int i = 0; i < 3; i++) /* Householder */
        for (int j = 0; j < 3; j++)
            motion.turn[i][j] -= 2 * n[i] * n[j];
    keep_point(&motion, about);
    return motion;
}

bool motion_mirrors(const struct motion *motion)
{
    const double(*m)[3] = motion->turn;
    struct vec x = vec(m[0][0], m[1][0], m[2][0]), y = vec(m[0][1], m[1][1], m[2][1]);
    return vec_dot(vec_cross(x, y), vec(m[0][2], m[1][2], m[2][2])) < 0;
}

struct motion motion_then(const struct motion *first, const struct motion *then)
{
    struct motion both = {.scale = first->scale * then->scale,
                          .shift = motion_apply(then, first->shift)};
    for (int i = 0; i < 3; i++)
        for (int j = 0; j < 3; j++)
            for (int k = 0; k < 3; k++)
                both.turn[i][j] += then->turn[i][k] * first->turn[k][j];
    return both;
}

/* Turns every attribute that is a direction. */
static enum status turn_directions(const struct motion *motion, const struct mesh *mesh,
                                   struct mesh *moved, struct job *job)
{
    for (enum attribute i = 0; i < ATTRIBUTE_COUNT; i++) {
        const struct attribute_row *row = attribute_row(i);
        if (!mesh->attribute[i] || row->blend != BLEND_UNIT || row->components != 3)
            continue;
        const struct point *from = mesh_attribute(mesh, i);
        struct point *to = mesh_attribute_new(moved, i);
        if (!to)
            return job_fail_memory(job, array_bytes(mesh->attribute[i]));
        size_t count = mesh_domain(mesh, row->domain);
        for (size_t n = 0; n < count; n++)
            to[n] = vec_point(motion_direction(motion, point_vec(from[n])));
    }
    return STATUS_OK;
}

static void move_points(const struct motion *motion, const struct mesh *mesh, struct vec beside,
                        struct point *to, int threads)
{
    const struct point *from = mesh_point(mesh);
    size_t count = mesh_vertices(mesh);
#pragma omp parallel for schedule(static) num_threads(threads)
    for (size_t v = 0; v < count; v++)
        to[v] = vec_point(
            vec_along(beside, motion->scale, motion_direction(motion, point_vec(from[v]))));
}

struct mesh *motion_mesh(const struct motion *motion, const struct mesh *mesh, struct job *job)
{
    struct mesh *moved = mesh_new_like(mesh);
    struct array *point = moved ? array_new(mesh_vertices(mesh), sizeof(struct point)) : NULL;
    enum status status =
        point ? turn_directions(motion, mesh, moved, job) : job_fail_memory(job, array_bytes(mesh->point));
    if (status == STATUS_OK && motion_mirrors(motion))
        status = mesh_turn_over(moved, mesh, NULL, NULL, job);
    if (status != STATUS_OK) {
        array_free(point);
        mesh_free(moved);
        return NULL;
    }
    struct vec origin = motion_apply(motion, vec(mesh->origin[0], mesh->origin[1], mesh->origin[2]));
    bool near = fabs(origin.x) < far_off && fabs(origin.y) < far_off && fabs(origin.z) < far_off;
    move_points(motion, mesh, near ? origin : vec(0, 0, 0), point->data, job_threads(job));
    array_free(moved->point);
    moved->point = point;
    moved->origin[0] = near ? 0 : origin.x;
    moved->origin[1] = near ? 0 : origin.y;
    moved->origin[2] = near ? 0 : origin.z;
    moved->joined = false; /* rounding may have brought points together */
    return moved;
}
