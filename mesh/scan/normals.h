/* Which way the surface faces at the points of a scan. */
#ifndef FETTLE_SCAN_NORMALS_H
#define FETTLE_SCAN_NORMALS_H

#include "core/mesh.h"

/* A normal for each vertex, unit, or zero where none is known: of the triangles around it when the
 * mesh has triangles; else the one the file gave; else estimated (normals_estimate) from
 * NORMALS_AROUND points, or as many more as the noise asks for (noise_measure). The caller frees
 * with scratch_free. NULL on failure. */
struct point *normals_of(const struct mesh *mesh, struct job *job);

/* A normal for each vertex from the points alone: that of the plane which lies best among the
 * `around` points nearest to it (3 to NORMALS_AROUND_MOST; itself counts), zero where these lie on
 * a line. Neighbours are made to agree, across the flattest places first (the spanning tree of
 * Hoppe et al. 1992, "Surface Reconstruction from Unorganized Points"); then each connected part
 * faces where its points were seen from (the attribute `view`), each of them, if that fits three
 * quarters of it; else away from its own middle, or, where that does not decide (a flat sheet),
 * upward (+z). Without views a part that is a hollow seen from within therefore faces the wrong way
 * as a whole. The caller frees with scratch_free. NULL on failure. */
enum { NORMALS_AROUND = 16, NORMALS_AROUND_MOST = 512 };
struct point *normals_estimate(const struct mesh *mesh, unsigned around, struct job *job);

#endif
