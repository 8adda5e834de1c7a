/* Making the filling of a hole as dense as the surface around it. */
#ifndef FETTLE_SURFACE_FILL_REFINE_H
#define FETTLE_SURFACE_FILL_REFINE_H

#include "surface/fill_patch.h"

/* Puts new vertices into the patch until its edges are as long as patch->size of the rim's vertices
 * asks, times `scale`, blending from rim to rim (Pfeifle & Seidel 1996, "Triangular B-Splines for
 * Blending and Filling of Polygonal Holes"; Liepa 2003): a triangle is split at its centroid where
 * that lies far enough from its corners, then diagonals are relaxed. Farther than some rows of
 * triangles from the rim the edges grow longer with the distance, for a filling has no detail
 * there: so the vertices of a wide hole stay in proportion to its rim. False when out of memory or
 * cancelled. */
bool refine_patch(struct patch *patch, double scale, const struct job *job);

#endif
