/* Which hole is meant by a place near its rim. */
#ifndef FETTLE_SURFACE_FILL_ONE_H
#define FETTLE_SURFACE_FILL_ONE_H

#include "core/mesh.h"

/* Finds the rim that has the vertex nearest to the place (world) in a joined mesh, and sets mark[v]
 * of its vertices (one a vertex, zeros before; NULL: only the distance is wanted). Rims that do not
 * close, beside misoriented or non-manifold edges, count as one. *distance in mm; INFINITY: there
 * is no rim. Fails with STATUS_MEMORY and STATUS_CANCELLED alone. */
enum status fill_one_find(const struct mesh *mesh, struct vec at, uint8_t *mark, double *distance,
                          struct job *job);

#endif
