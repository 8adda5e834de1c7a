/* Whether a lid certainly does not meet itself. */
#ifndef FETTLE_SURFACE_FILL_LEVEL_H
#define FETTLE_SURFACE_FILL_LEVEL_H

#include "core/mesh.h"
#include "surface/fill_patch.h"

/* Whether the lid, whose triangles stand in the mesh from `first` on in the patch's order, lies
 * over a plane so that no two of its triangles have more in common than the vertex or the edge they
 * share: seen from where its rim's area faces, all its triangles face the viewer and its rim, one
 * closed walk, nowhere meets itself. (Each place of the plane is then covered as often as the rim
 * winds round it: once, or not at all.) False where that is not so, is not clear, or would take
 * long to find out. */
bool fill_is_level(const struct mesh *mesh, size_t first, const struct patch *patch);

#endif
