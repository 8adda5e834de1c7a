/* An implicit surface as triangles: marching tetrahedra on a body-centred cubic lattice, whose
 * surface is always a 2-manifold (common practice; the lattice as in Labelle & Shewchuk 2007). */
#ifndef FETTLE_EXAMPLES_POLYGONISE_H
#define FETTLE_EXAMPLES_POLYGONISE_H

#include "core/mesh.h"

/* The surface where distance(p) = 0 inside the box, facing where it is positive, with lattice
 * spacing h mm. Vertices lie on the surface to about h / 1000. Where the surface leaves the box it
 * ends in a boundary. NULL when out of memory. The caller frees. */
struct mesh *polygonise(double (*distance)(struct vec p), struct vec min, struct vec max, double h);

#endif
