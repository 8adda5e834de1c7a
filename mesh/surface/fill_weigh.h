/* Triangulating the way round a hole by dynamic programming. */
#ifndef FETTLE_SURFACE_FILL_WEIGH_H
#define FETTLE_SURFACE_FILL_WEIGH_H

#include "core/tree.h"
#include "surface/fill_walk.h"

struct clearing { /* what triangles are to keep clear of */
    const struct mesh *mesh;
    const struct tree *tree; /* of the mesh */
};

/* Fills the patch (which has its old vertices, and no triangles yet) with the triangulation of the
 * walk that weighs least (Barequet & Sharir 1995; weights of Liepa 2003). FILL_SMOOTH: the
 * sharpest bend between triangles, those around the hole included, then the area. FILL_FLAT: the
 * area, then the length of the edges. In both, edges that the mesh has already and triangles
 * without area come last of all; with `clearing` (NULL: without), triangles that cross the mesh
 * too.
 *
 * Up to some hundred edges every triangulation is considered. The time for that grows with the cube
 * of their number, so longer walks are thinned to every other vertex, again and again; the short
 * walk's best triangulation is then refined level by level, considering at each only edges whose
 * ends lie within a few vertices of an edge of the level before. That is not certain to find the
 * least weight, but always finds a triangulation. Time and memory grow with the number of edges.
 *
 * False when out of memory or cancelled. */
bool weigh_walk(const struct walk *walk, enum fill_shape shape, const struct clearing *clearing,
                struct patch *patch, const struct job *job);

#endif
