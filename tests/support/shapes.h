/* Made-up solids for the tests. Each returns a new joined mesh (the caller frees it), closed and
 * facing outward unless said otherwise; never NULL: a test without memory aborts. */
#ifndef FETTLE_TESTS_SHAPES_H
#define FETTLE_TESTS_SHAPES_H

#include "core/mesh.h"

/* A mesh from lists (shape_make copies them). */
struct mesh *shape_make(const double (*points)[3], size_t vertices, const uint32_t (*triangles)[3],
                        size_t count);

/* Geodesic sphere: 20 * 4^level triangles, all vertices on the sphere. */
struct mesh *shape_sphere(double radius, int level);

/* Axis-parallel box from (0,0,0), each side a grid of n x n squares. */
struct mesh *shape_box(double x, double y, double z, int n);

/* Torus about z: ring radius, tube radius, segments around and across. */
struct mesh *shape_torus(double ring, double tube, int around, int across);

/* Truncated cone about z, of n sides: its base of radius `base` at z = 0, its top at `height`. */
struct mesh *shape_frustum(double base, double top, double height, uint32_t n);

/* An open square patch in the plane z = 0 of n x n squares, lifted by height(x, y) when not NULL;
 * n * n * 2 triangles, 4 n boundary edges. */
struct mesh *shape_patch(double side, int n, double (*height)(double x, double y));

/* The mesh without the triangles for which drop returns true (vertices stay). */
struct mesh *shape_without(const struct mesh *mesh,
                           bool (*drop)(const struct mesh *mesh, size_t t));

/* Moves each coordinate of each vertex by up to half of `noise`, to either side; returns the mesh.
 */
struct mesh *shape_rough(struct mesh *mesh, float noise);

/* Several meshes as one, moved by the given vectors (NULL: not moved). */
struct mesh *shape_join(const struct mesh *const *mesh, const double (*move)[3], size_t count);

/* Counted independently of the library, by sorting edges: */
struct shape_count {
    size_t edges, boundary, nonmanifold, misoriented, degenerate;
    long euler;
    double volume, area;
};
struct shape_count shape_count(const struct mesh *mesh);

/* Deterministic random numbers in [0, 1). */
double shape_random(uint64_t *state);

#endif
