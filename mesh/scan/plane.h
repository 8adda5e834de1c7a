/* Planes through points, and the slightly bent surfaces that tables are. */
#ifndef FETTLE_SCAN_PLANE_H
#define FETTLE_SCAN_PLANE_H

#include <stdbool.h>
#include <stddef.h>

#include "core/vec.h"

struct plane {
    struct vec through;
    struct vec normal; /* unit */
};

static inline double plane_height(const struct plane *plane, struct vec at)
{
    return vec_dot(plane->normal, vec_sub(at, plane->through));
}

/* The plane through the points' mean, square to the direction in which they spread least (total
 * least squares; Pearson 1901). *rms: how far they lie from it. False when there are fewer than
 * three, or all lie on a line as far as doubles can tell. */
bool plane_fit(const struct vec *point, size_t count, struct plane *out, double *rms);

/* A surface of second degree over a plane: its rise over the plane at a place is
 * term . (1, a, b, a a, a b, b b), where a and b are the place's distances along u and v from
 * `through`, divided by `scale` and kept within low and high, beyond which it goes on level. */
struct bent_plane {
    struct plane plane;
    struct vec u, v; /* unit; u, v, normal are a right-handed frame */
    double scale;
    double low[2], high[2];
    double term[6];
};

enum { BENT_TERMS = 6 };

/* The plane as it is: no bend. */
struct bent_plane bent_flat(const struct plane *plane, double scale);

/* How far the bent surface lies above the plane at a point's place. */
double bent_rise(const struct bent_plane *bent, struct vec at);

/* How far a point lies above the bent surface (negative: below). */
static inline double bent_height(const struct bent_plane *bent, struct vec at)
{
    return plane_height(&bent->plane, at) - bent_rise(bent, at);
}

/* Fits the terms to the points by least squares; low and high become the box of those points. False
 * when the points do not determine them: then only the height is fitted, without a bend. The plane
 * should be that of plane_fit of the same points, so that it goes on rightly beyond them. */
bool bent_fit(struct bent_plane *bent, const struct vec *point, size_t count);

#endif
