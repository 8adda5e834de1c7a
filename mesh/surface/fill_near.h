/* Which triangles of a filled mesh could meet a new one at all. */
#ifndef FETTLE_SURFACE_FILL_NEAR_H
#define FETTLE_SURFACE_FILL_NEAR_H

#include "core/mesh.h"

struct lids { /* the new triangles, which stand behind the old ones */
    size_t count;
    const size_t *start; /* count + 1: lid i has the triangles start[i] ... start[i + 1] - 1 */
    const bool *whole;   /* one a lid: it may meet itself; the others are known not to */
};

/* Lists, ascending, triangles of the mesh, so that any two that have a point in common are both in
 * the list if one belongs to a lid and the other is old, or of another lid, or of the same that may
 * meet itself. Others may be in the list too.
 *
 * A triangle is in it when it shares a cell of a grid with one of the other kind. The grid spans
 * the lids with 512 cells on its longest side, kept as bits in bricks of 8 x 8 x 8 where there are
 * lids. Where triangles span too many bricks for that to help, all of them are listed. Free the
 * list with scratch_free. STATUS_MEMORY or STATUS_CANCELLED, recorded. */
enum status fill_near(const struct mesh *mesh, const struct lids *lids, uint32_t **list,
                      size_t *count, struct job *job);

#endif
