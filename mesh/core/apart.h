/* How far apart the points of a mesh or cloud are. */
#ifndef FETTLE_CORE_APART_H
#define FETTLE_CORE_APART_H

#include "core/mesh.h"

/* mm: of a cloud, the median distance from a point to its nearest neighbour; of a mesh, the median
 * length of its edges (by triangles: an edge of two counts twice). Measured at some ten thousand
 * places spread evenly over the order of points or triangles. 0 when there are fewer than two
 * points. A cloud's tree is built (and cached). STATUS_MEMORY and STATUS_CANCELLED. */
enum status mesh_spacing(const struct mesh *mesh, double *out, struct job *job);

#endif
