/* Solids built of boxes. */
#ifndef FETTLE_TESTS_SUPPORT_BLOCKS_H
#define FETTLE_TESTS_SUPPORT_BLOCKS_H

#include "core/mesh.h"

/* A box of the sides a, b and c, its lowest corner at x, y, z. */
struct mesh *blocks_box(double x, double y, double z, double a, double b, double c);

/* Both as one solid; frees them. */
struct mesh *blocks_united(struct mesh *a, struct mesh *b);

#endif
