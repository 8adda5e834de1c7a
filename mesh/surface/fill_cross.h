/* Where lids cross the surface, each other or themselves. */
#ifndef FETTLE_SURFACE_FILL_CROSS_H
#define FETTLE_SURFACE_FILL_CROSS_H

#include "core/crossings.h"
#include "surface/fill_near.h"

/* Finds the pairs of triangles of the mesh that cross (crossings.h) and of which one belongs to a
 * lid that `open` names (one a lid). In each pair a belongs to such a lid, b to anything; if both
 * do, a < b. Not more than some millions of pairs, those of the first lids. Free *pairs with
 * free(); it is NULL when there are none. Sets the present phase's total, and counts it. */
enum status fill_crossings(const struct mesh *mesh, const struct lids *lids, const bool *open,
                           struct crossing **pairs, size_t *count, struct job *job);

/* The lid that a triangle belongs to; lids->count for an old one. */
size_t lid_of(const struct lids *lids, size_t triangle);

#endif
