/* The last step of decimation: the vertices move to where the new surface lies nearest to the old
 * one in the mean of squares, which the collapses, each knowing only the surface before it, have
 * lost sight of. */
#ifndef FETTLE_SURFACE_DECIMATE_FIT_H
#define FETTLE_SURFACE_DECIMATE_FIT_H

#include "surface/decimate_flat.h"

/* Moves the points of `made`, which nobody else holds yet. home[] has for each vertex of `old` a
 * vertex of `made` nearby. Boundary vertices move along their normals only, with keep_rim not at
 * all; non-manifold ones never, nor those of faces that flat[] (one a face of `made`, or NULL)
 * marks, and none goes beyond what the mesh stands on; no face turns over. Same bytes for any
 * number of threads.
 *
 * One sample is taken of each old triangle, weighted by its area; the displacements solve the
 * normal equations of the samples' distances to the planes of the new faces they lie on, held
 * back a little (Levenberg), by a few steps of preconditioned conjugate gradients (Hestenes &
 * Stiefel 1952). */
enum status fit_surface(const struct mesh *old, struct mesh *made, const uint32_t *home,
                        const struct flats *flats, const uint8_t *flat, bool keep_rim,
                        struct job *job);

#endif
