/* What was made on purpose stays known as that. */
#ifndef FETTLE_SCAN_FUSE_MADE_H
#define FETTLE_SCAN_FUSE_MADE_H

#include "core/mesh.h"

/* Marks those measured triangles of a fused mesh as made that lie on what a piece has marked so
 * (the cap of a cut), where nothing that was measured lies within `near` mm (half the spacing). The
 * mesh must not be shared yet. */
enum status made_find(struct mesh *mesh, const struct mesh *const *piece, size_t pieces,
                      double near, struct job *job);

#endif
