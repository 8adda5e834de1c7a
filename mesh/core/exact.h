/* Geometric predicates that are always right: a floating-point filter, then exact expansion
 * arithmetic where the filter cannot decide (Shewchuk 1997, "Adaptive Precision Floating-Point
 * Arithmetic and Fast Robust Geometric Predicates"). Inputs are any finite doubles; results are
 * exact as long as no product overflows or underflows (coordinates between 1e-70 and 1e70 or 0). */
#ifndef FETTLE_CORE_EXACT_H
#define FETTLE_CORE_EXACT_H

#include "core/vec.h"

/* The sign (-1, 0, 1) of the volume of a b c d: positive when d lies below the plane through
 * a, b, c, where a, b, c run counter-clockwise seen from above. */
int exact_side(struct vec a, struct vec b, struct vec c, struct vec d);

/* The sign of the area of the 2-D triangle a b c: positive when it runs counter-clockwise. */
int exact_turn(const double a[2], const double b[2], const double c[2]);

/* Whether d lies inside (1), on (0) or outside (-1) the circle through a, b, c, which run
 * counter-clockwise. */
int exact_circle(const double a[2], const double b[2], const double c[2], const double d[2]);

/* Six times that volume, with the sign of exact_side; off by less than a part in 1e12. */
double exact_volume(struct vec a, struct vec b, struct vec c, struct vec d);

/* Whether the segment u v meets the plane through p[0..2] before (-1), where (0), or after (1) it
 * meets that through q[0..2]; each plane has u and v strictly on its two sides. An indirect
 * predicate (Attene 2020, "Indirect Predicates for Geometric Constructions"): the points where
 * they meet are never computed. */
int exact_order(struct vec u, struct vec v, const struct vec p[3], const struct vec q[3]);

/* The sign of dot(normal, p) - offset, exact for the given doubles. */
int exact_plane(struct vec normal, double offset, struct vec p);

#endif
