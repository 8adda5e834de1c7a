/* A tree of boxes over the triangles of a mesh (or its points, when it has no triangles): 22 bytes
 * a triangle. All queries may run in many threads at once. */
#ifndef FETTLE_CORE_TREE_H
#define FETTLE_CORE_TREE_H

#include "core/derive.h"

struct tree; /* opaque */

/* The tree of the mesh, built when first asked for (all threads of the job), cached with it.
 * NULL on failure. */
const struct tree *mesh_tree(const struct mesh *mesh, struct job *job);

struct nearest {
    uint32_t triangle; /* NO_INDEX when nothing lies within reach; a vertex for point clouds */
    double distance;   /* mm */
    struct vec point;  /* the nearest point of the surface, local (beside the mesh's origin) */
    double weight[3];  /* barycentric, of the triangle's corners */
};

/* The point of the surface nearest to `at` (local), no farther than `reach` (INFINITY: any). Of
 * triangles equally near, the one of the lowest index. Weights are exactly 0 for corners that have
 * no part: on an edge one of them is, in a corner two are. */
struct nearest tree_nearest(const struct tree *tree, struct vec at, double reach);

/* The same, when a triangle (a vertex for clouds) near `at` is known: that of a query close by,
 * say. The answer is the same, found sooner. NO_INDEX: none is known. */
struct nearest tree_nearest_from(const struct tree *tree, struct vec at, double reach,
                                 uint32_t guess);

struct neighbour { /* of a place, among the points of a cloud */
    double distance2; /* squared, mm2 */
    uint32_t vertex;
};

/* The points of a cloud nearest to `at` (local) and no farther than `reach` (INFINITY: any): at
 * most `most` of them into `near`, the nearest first, of points equally far the lowest index first.
 * Returns how many; 0 for a mesh with triangles (mesh_cloud in subset.h makes a cloud of it). */
size_t tree_neighbours(const struct tree *tree, struct vec at, double reach, size_t most,
                       struct neighbour *near);

/* Which way the surface faces at the nearest point: the normal of the face; on an edge or in a
 * corner those of all triangles that meet there, each by the angle it takes, so that a point lies
 * outside exactly when it lies on that side (Baerentzen & Aanaes 2005). Unit; zero where there is
 * none (a cloud, triangles without area). Vertices need not be joined. */
struct vec tree_normal(const struct tree *tree, const struct nearest *nearest);

/* How near the surface comes to a triangle (local) as a whole, mm; `reach` when no nearer than
 * that (of no use with INFINITY: it is then asked of all). 0 where they meet. */
double tree_clearance(const struct tree *tree, const struct vec corner[3], double reach);

struct hit {
    uint32_t triangle; /* NO_INDEX when the ray misses */
    double t;          /* point = from + t * along */
    double weight[3];
};

/* The first triangle that the ray from + t * along, t in (after, before], meets; both faces count.
 * No ray slips through between triangles that share an edge. A cloud is never met. */
struct hit tree_ray(const struct tree *tree, struct vec from, struct vec along, double after,
                    double before);

/* Calls visit for each triangle (vertex for clouds) whose box meets [min, max] (local), borders
 * included, until it returns false. In no particular order, but always the same. */
void tree_box(const struct tree *tree, struct vec min, struct vec max,
              bool (*visit)(uint32_t triangle, void *context), void *context);

#endif
