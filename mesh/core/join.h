/* Several meshes as one. */
#ifndef FETTLE_CORE_JOIN_H
#define FETTLE_CORE_JOIN_H

#include "core/mesh.h"

/* A new mesh of all vertices and triangles of the given ones, in their order, around the first
 * one's origin; vertices are not joined to each other. It has every attribute that any of them has;
 * where one lacks it, colour is opaque white and all else zero. One mesh alone is shared. NULL on
 * failure. */
struct mesh *mesh_join(const struct mesh *const *mesh, size_t count, struct job *job);

#endif
