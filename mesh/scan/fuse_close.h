/* Which cells the fused surface passes through. */
#ifndef FETTLE_SCAN_FUSE_CLOSE_H
#define FETTLE_SCAN_FUSE_CLOSE_H

#include "scan/fuse_grid.h"
#include "scan/fuse_handles.h"

enum { CLOSE_RELAXATIONS = 3 };

/* The surface's sheet (core/sheet.h) as the samples say, and the net through it, relaxed. `closed`:
 * from there it is followed through cells where they do not, the winding number telling inside from
 * outside; and handles that nothing measured asked for are taken out. On failure *net owns nothing.
 */
enum status close_surface(struct grid *grid, bool closed, struct net *net, struct handles *handles,
                          struct job *job);

#endif
