/* Which cells the fused surface passes through. */
#ifndef FETTLE_SCAN_FUSE_CLOSE_H
#define FETTLE_SCAN_FUSE_CLOSE_H

#include "scan/fuse_grid.h"

/* The surface's sheet (core/sheet.h) as the samples say. `closed`: from there it is followed
 * through cells where they do not, the winding number telling inside from outside. */
enum status close_surface(struct grid *grid, bool closed, struct job *job);

#endif
