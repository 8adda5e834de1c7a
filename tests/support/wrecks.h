/* Made-up broken meshes for the tests; the same number gives the same mesh. The caller frees. */
#ifndef FETTLE_TESTS_WRECKS_H
#define FETTLE_TESTS_WRECKS_H

#include "core/mesh.h"

/* A soup of triangles between few vertices: edges and triangles repeat in every way, some are
 * degenerate. */
struct mesh *wreck_soup(uint64_t number, size_t vertices, size_t triangles);

/* A sphere that has lost a share of its triangles and has a share of the rest turned over. */
struct mesh *wreck_sphere(uint64_t number, double lost, double flipped);

/* One or the other, of small size, all kinds by turns. */
struct mesh *wreck(int number);

#endif
