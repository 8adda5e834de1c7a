/* A part of a mesh. */
#ifndef FETTLE_CORE_SUBSET_H
#define FETTLE_CORE_SUBSET_H

#include "core/mesh.h"

/* The triangles t with keep[t] != 0, in their order, and the vertices they use, in theirs, with all
 * attributes. Points no triangle uses are left out. Shares `mesh` when all of it is kept. NULL on
 * failure (STATUS_MEMORY). The caller frees. */
struct mesh *mesh_subset(const struct mesh *mesh, const uint8_t *keep, struct job *job);

/* Its points alone, without triangles or attributes: a cloud that shares their array, whose vertices
 * are those of `mesh`. NULL on failure (STATUS_MEMORY). The caller frees. */
struct mesh *mesh_cloud(const struct mesh *mesh, struct job *job);

/* The vertices v with keep[v] != 0 and the triangles all of whose corners are kept, else the same:
 * points no triangle uses stay when they are kept. For clouds, and to take vertices out of meshes. */
struct mesh *mesh_subset_points(const struct mesh *mesh, const uint8_t *keep, struct job *job);

#endif
