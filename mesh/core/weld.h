/* Joining vertices. */
#ifndef FETTLE_CORE_WELD_H
#define FETTLE_CORE_WELD_H

#include "core/mesh.h"

/* Joins the vertices whose positions are equal bit for bit (-0 counts as 0), keeping the order of
 * first use; attributes of joined vertices are averaged. Triangles stay, also those that become
 * degenerate. Returns a new mesh (the same one shared when nothing was to join), marked `joined`;
 * NULL on failure. */
struct mesh *weld_exact(const struct mesh *mesh, struct job *job);

#endif
