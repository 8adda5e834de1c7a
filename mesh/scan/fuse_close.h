/* Which cells the fused surface passes through. */
#ifndef FETTLE_SCAN_FUSE_CLOSE_H
#define FETTLE_SCAN_FUSE_CLOSE_H

#include "core/net.h"
#include "scan/fuse_grid.h"

/* The surface's sheet (core/sheet.h) as the samples say, and the net through it. `closed`: from
 * there it is followed through cells where they do not, the winding number telling inside from
 * outside.
 *
 * A patch so made may have handles that nothing measured asked for. Rims that it shares with others
 * on one measured part are tried with lids, fans about their middle that wind as the samples do;
 * then slightly different thresholds are tried, since the level surfaces of the winding number all
 * pass by the rim. What leaves the fewest handles stays, unless it cuts the surface in two, or lids
 * are more to invent than the tubes that they shut. *handles: how many went so. On failure *net
 * owns nothing. */
enum status close_surface(struct grid *grid, bool closed, struct net *net, size_t *handles,
                          struct job *job);

#endif
