/* Triangles that cut through each other, cut up along the curves in which they meet. */
#ifndef FETTLE_SOLID_ARRANGE_H
#define FETTLE_SOLID_ARRANGE_H

#include "core/crossings.h"
#include "solid/spots.h"

struct arrangement {
    struct mesh *mesh; /* triangles meet in common vertices and edges only (but for the rounding of
                          the new vertices); none is there twice */
    struct spots spots;
    uint32_t *spot; /* one a new vertex (from `old` on) of the mesh */
    uint32_t *from; /* one a triangle: the triangle of the old mesh that it is (a part of) */
    size_t old;     /* vertices of the old mesh; they keep their numbers */
    size_t whole;   /* triangles in front that nothing touched */
};

/* Resolves all crossings of a joined mesh; `pair` are all that crossings_find finds. Two triangles
 * meet in a segment, triangles in one plane are cut together as one, and each face is triangulated
 * anew so that all of that are edges (Zhou, Grinspun, Zorin & Jacobson 2016, "Mesh Arrangements for
 * Solid Geometry"; Cherchi, Pellacini, Attene & Livesu 2022, "Interactive and Robust Mesh
 * Booleans"). All that decides is exact, on points that are never rounded (spots.h); so the
 * triangles fit together whatever the input, and only at the end new vertices are rounded to
 * single precision. Triangles that are lines on the grid of spots go. Attributes are carried.
 * Release the arrangement whatever the outcome. */
enum status arrange(const struct mesh *mesh, const struct crossing *pair, size_t pairs,
                    struct arrangement *out, struct job *job);
void arrangement_release(struct arrangement *arrangement);

#endif
