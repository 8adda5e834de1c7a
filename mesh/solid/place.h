/* Moving a mesh as a whole: turned, scaled, shifted. */
#ifndef FETTLE_SOLID_PLACE_H
#define FETTLE_SOLID_PLACE_H

#include "core/mesh.h"

/* World x becomes scale * turn x + shift; the turn is a rotation (right-handed, orthonormal),
 * scale is positive, the shift is in mm. */
struct motion {
    double turn[3][3];
    double scale;
    struct vec shift;
};

/* The motion by `shift`; the rotation by `angle` (radians) about the line through `about` along the
 * unit vector `axis`; the scaling by `scale` about a point. */
struct motion motion_shift(struct vec shift);
struct motion motion_turn(struct vec axis, double angle, struct vec about);
struct motion motion_scale(double scale, struct vec about);

/* The motion that does `first`, then `then`. */
struct motion motion_then(const struct motion *first, const struct motion *then);

/* Where the motion takes a point; which way it turns a direction. */
struct vec motion_apply(const struct motion *motion, struct vec world);
struct vec motion_direction(const struct motion *motion, struct vec direction);

/* The moved mesh; the triangles are shared, directions among the attributes turn with it. Points are
 * rounded once: beside the world's zero while the mesh's own origin lies within 10 m of it, else
 * beside an origin that moves along, so that far-off scans keep what float can tell. NULL on
 * failure. */
struct mesh *motion_mesh(const struct motion *motion, const struct mesh *mesh, struct job *job);

#endif
