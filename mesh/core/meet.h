/* Whether two triangles share more than they should. */
#ifndef FETTLE_CORE_MEET_H
#define FETTLE_CORE_MEET_H

#include <stdbool.h>

#include "core/vec.h"

/* Which corners are the same vertex: bit 3 i + j when corner i of a is corner j of b. */
typedef unsigned shared_corners;

/* Whether the closed triangles a and b have a point in common beyond the common vertex or the
 * common edge that `shared` names. Without one, any common point counts, a touch too; with one,
 * only what goes beyond it: a fold that lies flat on its neighbour, a fan that overlaps itself. The
 * same triangle twice counts. A triangle without area has no surface, so it never counts.
 * Exact for coordinates that are exact floats (any doubles within the range of exact.h).
 * Method: floating-point tests that separate nearly all pairs, with bounds of their rounding; then
 * the signs of exact predicates on which edge of one meets the other triangle. */
bool triangles_meet(const struct vec a[3], const struct vec b[3], shared_corners shared);

/* Whether its corners do not lie on one line. As exact. */
bool triangle_has_area(const struct vec t[3]);

#endif
