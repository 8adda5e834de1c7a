/* Pieces that face the other way. */
#ifndef FETTLE_SCAN_FUSE_FACING_H
#define FETTLE_SCAN_FUSE_FACING_H

#include "scan/fuse_grid.h"

/* Turns the normals of pieces that face against those they overlap, the fewer samples giving way;
 * and of a group that is closed all round and faces inward. turned[]: 1 for each piece turned. */
enum status facing_agree(struct fuse_samples *samples, const struct grid *grid, size_t pieces,
                         uint8_t *turned, struct job *job);

#endif
