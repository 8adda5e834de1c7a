/* A coarse stand-in of a big mesh, fast enough to be made while somebody waits: what is drawn
 * while the picture moves. For work that is kept there is decimate.h. */
#ifndef FETTLE_SURFACE_STANDIN_H
#define FETTLE_SURFACE_STANDIN_H

#include "core/mesh.h"

/* A new mesh of about `target` triangles (within a third of it for an evenly dense surface; far
 * fewer when the mesh is mostly thin wire; at most about half a million), made by vertex
 * clustering: the vertices of each cell of a grid become one, placed by the quadric error of the
 * surface in that cell (Lindstrom 2000, "Out-of-core simplification of large polygonal models").
 * A point cloud is thinned to about `target` of its points.
 *
 * Open, broken and unjoined meshes are welcome. The result may be non-manifold, and bits smaller
 * than a cell vanish. Attributes are carried from one vertex of each cell. The same mesh is shared
 * when it has no more than `target` triangles (points). NULL on failure. Deterministic.
 *
 * Measured: 4 million triangles to 48 000 in 0.07 s on two cores (0.15 s of processor time). */
struct mesh *decimate_quick(const struct mesh *mesh, size_t target, struct job *job);

#endif
