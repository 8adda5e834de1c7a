/* Which cells the surface passes through. */
#ifndef FETTLE_SCAN_FUSE_CLOSE_H
#define FETTLE_SCAN_FUSE_CLOSE_H

#include "scan/fuse_grid.h"

/* Marks the cells through which the surface passes CELL_ACTIVE. First those where samples say so.
 * `closed`: from there the surface is followed through cells where they do not, the winding number
 * telling inside from outside, until it closes.
 *
 * Nodes are then turned inward where the signs of an active cell are not well-composed (Latecki
 * 1997, "3D Well-Composed Pictures": no two nodes of one kind meet across a face's or the cell's
 * diagonal alone), so that the surface passes each cell as one sheet. */
enum status close_surface(struct grid *grid, bool closed, struct job *job);

#endif
