/* Which cells the surface passes through. */
#ifndef FETTLE_CORE_SHEET_H
#define FETTLE_CORE_SHEET_H

#include "core/grid.h"

/* Where a value is wanted that no node has yet: negative inside. Any thread may ask. */
struct sheet_field {
    double (*value)(const struct grid *grid, node_id node, const void *context);
    const void *context;
};

/* Marks the cells through which the surface passes CELL_ACTIVE. First those where nodes with
 * NODE_DATA say so, and those that have CELL_MARKED. With a field the surface is followed from
 * there through cells where they do not, until it closes; NULL: it stays open there.
 *
 * Nodes are then turned inward where the signs of an active cell are not well-composed (Latecki
 * 1997, "3D Well-Composed Pictures": no two nodes of one kind meet across a face's or the cell's
 * diagonal alone), so that the surface passes each cell as one sheet. */
enum status sheet_find(struct grid *grid, const struct sheet_field *field, struct job *job);

/* Of the corners of a cell, as bits, those outside of which one has to be turned inward for its
 * signs to be well-composed; 0: they are. Asked with the corners outside it says which of those
 * inside to turn outward. */
unsigned sheet_faults(unsigned inside);

#endif
