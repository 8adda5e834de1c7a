/* How often a surface winds around either side of a facet: counted along a ray, exactly. */
#ifndef FETTLE_SOLID_RAYS_H
#define FETTLE_SOLID_RAYS_H

#include "core/tree.h"
#include "solid/spots.h"

struct rays {
    const struct mesh *mesh;
    const struct tree *tree;
    const struct spots *spots; /* the mesh's grid */
    const uint32_t *component; /* one a triangle, when some are to be left out; NULL: none are */
    uint32_t without;          /* that component is */
};

struct rays_count {
    int above, on; /* triangles that the ray leaves less those it enters: strictly above the
                      facet; in its place */
    size_t all_above, all_on; /* triangles, whichever way they face */
};

/* Counts what a ray meets from inside the facet on, along the axis that its plane faces most
 * (upward: to greater coordinates). q: the facet's corners as spots have them, which may be off by
 * rounding. So a closed oriented surface winds `above` times around what lies just above, and
 * above + on times around what lies just below. False when the facet is too small to tell a point
 * inside it. */
bool rays_count(const struct rays *rays, const int64_t q[3][3], const struct plane *plane,
                struct rays_count *count);

/* The axis that the plane faces most. */
int plane_axis(const struct plane *plane);

#endif
