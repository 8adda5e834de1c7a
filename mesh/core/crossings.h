/* True self-intersection: pairs of triangles that share a point beyond a common vertex or edge. */
#ifndef FETTLE_CORE_CROSSINGS_H
#define FETTLE_CORE_CROSSINGS_H

#include "core/mesh.h"

struct crossing {
    uint32_t a, b; /* triangles, a < b */
};

/* Counts all crossing pairs of the mesh and keeps the first `most_kept` of them in order of a, then
 * b (free them with free(); *pairs is NULL when there are none).
 *
 * What two triangles have in common is decided by vertex index: join the mesh (weld) first, or
 * neighbours that only repeat positions count as touching. A touch is a crossing (a corner that
 * just reaches another triangle's face, two triangles in one plane that overlap, a neighbour folded
 * flat over its neighbour, the same triangle twice); meeting only in the common vertex or edge is
 * not. Triangles without area are left out: they have no surface, and are counted elsewhere.
 * Exact, and the same for any number of threads. Builds the mesh's tree when it has none; beside
 * it takes little but the pairs. Counts one step a triangle; begins no phase of the job. */
enum status crossings_find(const struct mesh *mesh, size_t most_kept, struct crossing **pairs,
                           size_t *kept, uint64_t *count, struct job *job);

#endif
