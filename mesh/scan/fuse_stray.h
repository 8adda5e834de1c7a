/* Samples that contradict all around them. */
#ifndef FETTLE_SCAN_FUSE_STRAY_H
#define FETTLE_SCAN_FUSE_STRAY_H

#include "scan/fuse_grid.h"

/* Takes out of the samples (and of the grid's blocks) those that little supports - lies beside them
 * and faces their way - while much faces them across a gap narrower than two spacings, into which
 * no scanner sees: a point of the table left under an edge, a point that flew. Each would be a
 * surface of its own, and pull a lip of invented surface behind it. The sides of a thin wall turn
 * their backs on each other: they stay. *dropped: how many. */
enum status stray_samples_drop(struct fuse_samples *samples, struct grid *grid, size_t *dropped,
                               struct job *job);

#endif
