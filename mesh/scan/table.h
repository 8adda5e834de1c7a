/* The table that a scanned object stands on: finding it. */
#ifndef FETTLE_SCAN_TABLE_H
#define FETTLE_SCAN_TABLE_H

#include "core/mesh.h"
#include "scan/plane.h"

struct table {
    struct bent_plane surface; /* local; its normal points to what stands on it */
    double spread; /* mm: the standard deviation of its samples from the surface, taken robustly */
    double bow;    /* mm: how much its surface is bent, highest less lowest */
    double size;   /* mm: the diagonal of the box around what was scanned, strays left out */
    double share;  /* of the samples of all that lie within 4 spreads of it, 0 to 1 */
    bool faces;    /* its faces or normals tell above from below: they agree about its normal */
};

/* Finds the plane that carries what was scanned. Small patches of samples, chosen at random but the
 * same every time, are made to planes and fitted to what lies in them until that stays the same
 * (RANSAC, Fischler & Bolles 1981; Chum, Matas & Kittler 2003). Such a plane is a table when
 *   - something stands on it: on the side its faces look to; where these tell nothing, over its
 * middle;
 *   - it goes on beyond what stands on it;
 *   - nothing lies right under it, where a table would hide it.
 * The one that holds most, goes on farthest and has the most of the rest above it is taken, or a
 * lower one parallel to it; of several levels that the coarse tolerance cannot tell, the lowest. It
 * is then fitted as a slightly bent surface, and what its samples spread by is taken from the
 * median of their distances. Linear in the number of triangles or points.
 *
 * `given` (local) is the plane when the user has named it, its normal towards what is kept: it is
 * then fitted to what lies near it, or taken as it is when nothing does. A normal of zero: the
 * plane is the one that the surface has about `through`. NULL: look for it.
 *
 * STATUS_REFUSED with what to do when no plane stands out, when there is nothing but the table, or
 * nothing at all. */
enum status table_find(const struct mesh *mesh, const struct plane *given, struct table *out,
                       struct job *job);

#endif
