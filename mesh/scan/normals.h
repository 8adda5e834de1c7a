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
 * Hoppe et al. 1992, "Surface Reconstruction from Unorganized Points"). The smooth patches that the
 * flattest links make face where their points were seen from (the attribute `view`; else the place
 * from which the points lie evenly in a picture, as those of one camera do: scan/seen.h), if that
 * fits three quarters of a patch and half of all points. So does what links then join to them, and
 * with `view` each single point that was not seen at a slant. What is left faces, one connected
 * part after another, away from its own middle, or, where that does not decide (a flat sheet),
 * upward
 * (+z). Without `view` what is a hollow seen from within therefore faces the wrong way as a whole.
 * The caller frees with scratch_free. NULL on failure. */
enum { NORMALS_AROUND = 16, NORMALS_AROUND_MOST = 512 };
struct point *normals_estimate(const struct mesh *mesh, unsigned around, struct job *job);

#endif
