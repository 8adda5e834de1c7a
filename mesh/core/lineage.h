/* Lineage: where the vertices and triangles of a new mesh came from, so that one place carries
 * every attribute over and no operation knows a particular one. */
#ifndef FETTLE_CORE_LINEAGE_H
#define FETTLE_CORE_LINEAGE_H

#include "core/mesh.h"

struct mix { /* a new vertex between old ones; weights add up to 1, unused ones are 0 */
    uint32_t from[3];
    float weight[3];
};

/* Of new vertex i: if i < plain_vertices, old vertex vertex[i] (NULL: old vertex i itself);
 * else mix[i - plain_vertices]. So an operation keeps the vertices it took over in front and puts
 * those it made behind them.
 *
 * Of new triangle t: if t < plain_triangles, it is (a part of) old triangle triangle[t] (NULL: old
 * triangle t itself); else it has no ancestor and gets `origin` as its ATTRIBUTE_origin; its
 * other triangle attributes are those of the ancestor of a neighbour that shares a vertex with it,
 * or of a neighbour's neighbour and so on; zero where there is none.
 *
 * A corner of triangle t takes the value its ancestor has there: at the ancestor's own corner when
 * it is that vertex, mixed of the ancestor's corners when its vertex is a mix of these, else at the
 * point of the ancestor nearest to it.
 *
 * Where there are two old meshes, the vertices and triangles of the second are counted on after
 * those of the first. Both lie beside one origin; where one lacks an attribute, what comes from it
 * has attribute_blank. */
struct lineage {
    const struct mesh *second; /* NULL: there is one old mesh */
    size_t plain_vertices;
    const uint32_t *vertex;
    const struct mix *mix;
    size_t plain_triangles;
    const uint32_t *triangle;
    enum surface_origin origin; /* of the triangles without an ancestor */
};

/* Gives `made` every attribute that `old` (or the second) has, as the lineage says (and
 * ATTRIBUTE_origin when there are triangles without an ancestor). `made` must have its points and
 * triangles and no attributes yet. Sets `made`'s origin (the position) to the old one's: points are
 * carried by the operation itself, relative to the same origin. STATUS_MEMORY on failure; made is
 * then partly filled, free it. */
enum status lineage_carry(const struct lineage *lineage, const struct mesh *old, struct mesh *made,
                          struct job *job);

#endif
