/* Triangulating the way round a flat hole in its plane. */
#ifndef FETTLE_SURFACE_FILL_PLANE_H
#define FETTLE_SURFACE_FILL_PLANE_H

#include "surface/fill_walk.h"

/* Whether all of the walk lies in one plane, but for rounding. */
bool plane_is_flat(const struct walk *walk, const struct patch *patch);

/* Fills the patch (which has its old vertices, and no triangles yet) with the Delaunay triangulation
 * of what the walk goes round in its plane (contours.h). *done is false when that is not possible
 * (the walk does not run as the border of an area does); the patch then has no triangles. False when
 * out of memory or cancelled, with the failure recorded. Several threads may call it. */
bool plane_fill(const struct walk *walk, struct patch *patch, bool *done, struct job *job);

#endif
