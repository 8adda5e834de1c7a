/* Joining vertices. */
#ifndef FETTLE_CORE_WELD_H
#define FETTLE_CORE_WELD_H

#include <string.h>

#include "core/mesh.h"

/* Joins the vertices whose positions are equal bit for bit (-0 counts as 0), keeping the order of
 * their first; attributes of joined vertices are averaged. Triangles stay, also those that become
 * degenerate. Returns a new mesh (the same arrays shared when nothing was to join), marked
 * `joined`; NULL on failure. */
struct mesh *weld_exact(const struct mesh *mesh, struct job *job);

/* The same for triangles that have no vertices yet, as STL holds them: reads `triangles` times nine
 * native floats (x y z of three corners), one triangle every `stride` bytes, aligned or not, and
 * returns a joined mesh without attributes whose vertices stand in the order of their first use.
 * Triangles with a corner that is not finite are left out (soup_finite tells which); triangles of
 * zero area stay. NULL on failure; more than MESH_MOST triangles are STATUS_REFUSED. */
struct mesh *weld_soup(const void *corners, size_t stride, size_t triangles, struct job *job);

/* Joins the vertices that have the same number id[]; numbers run from 0 to distinct - 1 in the order
 * of their first vertex, which gives the position; else as weld_exact. */
struct mesh *weld_numbered(const struct mesh *mesh, const uint32_t *id, size_t distinct,
                           struct job *job);

/* Whether all nine floats of one triangle are finite. */
static inline bool soup_finite(const void *corners)
{
    float c[9];
    memcpy(c, corners, sizeof c);
    for (int i = 0; i < 9; i++)
        if (!isfinite(c[i]))
            return false;
    return true;
}

#endif
