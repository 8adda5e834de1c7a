/* From the net to the mesh that is handed out. */
#ifndef FETTLE_SCAN_FUSE_MESH_H
#define FETTLE_SCAN_FUSE_MESH_H

#include "scan/fuse_fair.h"

/* Where triangles cross or have no area: lets invented patches that stand far from the middles of
 * their cells retreat (fuse_fair.h); then puts vertices back, bit by bit, towards those middles,
 * until none does: with all vertices there none would. Moves them in the net and in *mesh, which
 * becomes another. *reverted: how many were put back. */
enum status mesh_uncross(struct net *net, struct fair_shape *shape, struct mesh **mesh,
                         size_t *reverted, struct job *job);

/* Adds the attributes origin and, if the net has colours, colour. */
enum status mesh_attributes(const struct net *net, struct mesh *mesh, struct job *job);

/* The measured triangles alone, less those at vertices where they would hang together by a corner.
 * NULL on failure; STATUS_REFUSED when none is measured. */
struct mesh *mesh_measured(const struct mesh *mesh, struct job *job);

/* The mesh without bits of surface that hardly anything was measured of: stray samples, bubbles
 * where no scan saw. The greatest stays whatever it is. *dropped: how many went. NULL on failure.
 */
struct mesh *mesh_without_bits(const struct mesh *mesh, size_t *dropped, struct job *job);

#endif
