/* The blocks of the grid that have samples near. */
#ifndef FETTLE_SCAN_FUSE_GRID_H
#define FETTLE_SCAN_FUSE_GRID_H

#include "core/grid.h"
#include "scan/fuse_samples.h"

/* What the grid was made of. */
static inline const struct fuse_samples *grid_samples(const struct grid *grid)
{
    return grid->of;
}

/* The blocks that have samples within `reach` (less than a block's side), nodes without state. */
enum status grid_make(const struct fuse_samples *samples, float reach, struct grid *out,
                      struct job *job);

/* The samples within `reach` of a block's box, in an order of their own that is always the same. */
struct gathered {
    uint32_t *sample;
    size_t count, room;
};
bool grid_gather(const struct grid *grid, size_t block, float reach, struct gathered *out);

#endif
