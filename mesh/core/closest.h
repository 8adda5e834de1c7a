/* The closest point of a triangle. */
#ifndef FETTLE_CORE_CLOSEST_H
#define FETTLE_CORE_CLOSEST_H

#include "core/vec.h"

/* The barycentric weights of the point of a triangle that is closest to p. Exactly 0 for corners
 * that have no part: one of them on an edge, two in a corner. Any triangle will do, also one that
 * is a segment or a point. By the regions of the triangle's plane (C. Ericson, "Real-Time Collision
 * Detection", 2005, section 5.1.5); by its three edges where it has next to no area. */
void closest_of_triangle(struct vec p, const struct vec corner[3], double weight[3]);

/* The point with these weights; a corner's or an edge's own coordinates where others weigh 0. */
static inline struct vec closest_point(const struct vec corner[3], const double weight[3])
{
    struct vec p = vec_scale(corner[0], weight[0]);
    return vec_along(vec_along(p, weight[1], corner[1]), weight[2], corner[2]);
}

/* The squared distance. */
static inline double closest_distance2(struct vec p, const struct vec corner[3])
{
    double weight[3];
    closest_of_triangle(p, corner, weight);
    return vec_length2(vec_sub(p, closest_point(corner, weight)));
}

/* How far along the segment a b (0 to 1) the point closest to p lies. */
static inline double closest_of_segment(struct vec p, struct vec a, struct vec b)
{
    struct vec ab = vec_sub(b, a);
    double along = vec_dot(vec_sub(p, a), ab), length2 = vec_length2(ab);
    return !(along > 0) ? 0 : along >= length2 ? 1 : along / length2;
}

#endif
