/* Whether a mesh would be found sound by one who reads the file it is saved to. */
#ifndef FETTLE_TESTS_SOUND_H
#define FETTLE_TESTS_SOUND_H

#include "core/mesh.h"

/* The mesh with its vertices joined anew by position. The caller frees. */
struct mesh *sound_joined(const struct mesh *mesh);

/* NULL when the mesh is closed and oriented, every vertex has one fan and is used, and no two are
 * in one place; else what is wrong first. */
const char *sound_fault(const struct mesh *mesh);

/* How many pairs of its triangles cross or touch beyond a common vertex or edge. */
uint64_t sound_crossings(const struct mesh *mesh);

/* The least distance from places on the surface, so many anywhere on any of its triangles, to the
 * mesh; and the greatest. */
double sound_least_distance(const struct mesh *surface, const struct mesh *mesh, int places,
                            double *most);

#endif
