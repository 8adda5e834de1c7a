/* Triangles for what lies inside closed contours in a plane: outer rims, holes in them, islands in
 * the holes; contours may touch in points or along edges, and may cross where positions were
 * rounded.
 *
 * The promise is combinatorial and holds for any input: every edge of a closed contour becomes the
 * side of exactly one triangle, in the direction given, and every other side is shared by two
 * triangles that run it opposite ways. So the triangles close the surface the contours came from.
 * Where the contours do not cross, the triangles also do not overlap, none has zero area unless the
 * region itself has none there, and they are Delaunay within the contours. */
#ifndef FETTLE_CORE_CONTOURS_H
#define FETTLE_CORE_CONTOURS_H

#include "core/mesh.h"

struct contours {
    const double (*at)[2]; /* points in the plane */
    size_t points;
    /* Directed edges, the region on their left; ends differ. An edge given both ways is a slit: the
     * region lies on both sides. The region is what the contours wind around: a rim that runs
     * counter-clockwise inside another is filled once more, one that runs clockwise is a hole.
     * Contours that run clockwise altogether are filled with clockwise triangles. */
    const uint32_t (*edge)[2];
    size_t edges;
    /* How far the points may be off what they stand for: triangles no thicker than this are avoided
     * (points in a row bulge by it). 0: they are as they should be. */
    double grain;
};

struct contours_fill {
    struct triangle *triangle; /* of indices into `at` */
    size_t triangles;
    uint32_t *open; /* ascending: the edges that could not be filled, as they belong to no closed
                       contour or to a slit with no region around it */
    size_t opens;
    size_t loops; /* closed contours that were filled */
};

/* Fills the contours. `out` is for the caller to release, and owns nothing on failure. Counts
 * `edges` steps in all. Parallel over separate regions; the result does not depend on threads.
 *
 * Ear clipping (Meisters 1975) with the shortest cut first, holes joined to their rims by bridges
 * to visible vertices; exact predicates; ears that are not to be had are cut by force, which keeps
 * the promise where contours cross. Then edges are flipped until Delaunay (Lawson 1977). */
enum status contours_fill(const struct contours *contours, struct contours_fill *out,
                          struct job *job);
void contours_release(struct contours_fill *fill);

#endif
