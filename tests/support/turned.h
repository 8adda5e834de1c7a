/* Solids as a lathe makes them, for tests of round holes. */
#ifndef FETTLE_TESTS_TURNED_H
#define FETTLE_TESTS_TURNED_H

#include "core/mesh.h"

/* The outline (radius and height, mm, closed, the solid to its left) turned about z in n facets,
 * whose edges lie on the circles; the first edge at `phase` radians. Points on the axis become one
 * vertex. Joined. */
struct mesh *turned(const double (*outline)[2], uint32_t count, uint32_t n, double phase);

#endif
