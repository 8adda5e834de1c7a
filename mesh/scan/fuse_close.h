/* Which cells the fused surface passes through. */
#ifndef FETTLE_SCAN_FUSE_CLOSE_H
#define FETTLE_SCAN_FUSE_CLOSE_H

#include "core/net.h"
#include "scan/fuse_grid.h"

/* The surface's sheet (core/sheet.h) as the samples say, and the net through it. `closed`: from
 * there it is followed through cells where they do not, the winding number telling inside from
 * outside. Where a patch so made has a handle that a slightly different threshold does without -
 * and without cutting the surface in two - it gets that: the level surfaces of the winding number
 * all pass by the rim, and a handle that not all around agree on was not asked for by what was
 * measured. *handles: how many went so. On failure *net owns nothing. */
enum status close_surface(struct grid *grid, bool closed, struct net *net, size_t *handles,
                          struct job *job);

#endif
