/* Moving a mesh as a whole: turned, mirrored, scaled, shifted. */
#ifndef FETTLE_SOLID_PLACE_H
#define FETTLE_SOLID_PLACE_H

#include "core/mesh.h"

/* World x becomes scale * turn x + shift; the turn is orthonormal: a rotation, or one
 * with a mirror in it; scale is positive, the shift is in mm. */
struct motion {
    double turn[3][3];
    double scale;
    struct vec shift;
};

/* The motion by `shift`; the rotation by `angle` (radians) about the line through `about` along the
 * unit vector `axis`; the scaling by `scale` about a point; the mirror in the plane through a point,
 * square to the unit vector `normal`. */
struct motion motion_shift(struct vec shift);
struct motion motion_turn(struct vec axis, double angle, struct vec about);
struct motion motion_scale(double scale, struct vec about);
struct motion motion_mirror(struct vec normal, struct vec about);

/* Whether what it moves comes out mirrored. */
bool motion_mirrors(const struct motion *motion);

/* The motion that does `first`, then `then`. */
struct motion motion_then(const struct motion *first, const struct motion *then);

/* Where the motion takes a point; which way it turns a direction. */
struct vec motion_apply(const struct motion *motion, struct vec world);
struct vec motion_direction(const struct motion *motion, struct vec direction);

/* The moved mesh; what does not change is shared, directions among the attributes turn with it; a
 * mirror turns the triangles over, so that what was outside stays so. Points are
 * rounded once: beside the world's zero while the mesh's own origin lies within 10 m of it, else
 * beside an origin that moves along, so that far-off scans keep what float can tell. NULL on
 * failure. */
struct mesh *motion_mesh(const struct motion *motion, const struct mesh *mesh, struct job *job);

#endif
