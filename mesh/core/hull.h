/* The convex hull of points in space. */
#ifndef FETTLE_CORE_HULL_H
#define FETTLE_CORE_HULL_H

#include "core/mesh.h"

struct hull {
    int dimension; /* 3; 2, 1 or 0 when all points lie in a plane, on a line, in one place;
                      -1 when there are none. Triangles only when it is 3 */
    struct triangle *triangle; /* of indices; counter-clockwise seen from outside */
    uint32_t (*across)[3];     /* the triangle across side k, from corner k to corner k + 1 */
    size_t triangles;
};

/* The hull of `count` finite points (fewer than MESH_MOST). Exact: a closed triangulation of the
 * true hull of the doubles given; points inside a face or an edge of it may or may not be corners
 * of its triangles, whose planes then coincide. Quickhull (Barber, Dobkin & Huhdanpaa 1996) with
 * the sides of points decided by exact predicates. Deterministic. The caller releases; on failure
 * nothing is owned. */
enum status hull_make(const struct vec *point, size_t count, struct hull *out, struct job *job);
void hull_release(struct hull *hull);

#endif
