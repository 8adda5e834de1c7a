/* The distance from the surface near the samples. */
#ifndef FETTLE_SCAN_FUSE_FIELD_H
#define FETTLE_SCAN_FUSE_FIELD_H

#include "scan/fuse_grid.h"

/* How far from a sample nodes are given values, in units of samples->reach. */
#define FIELD_REACH 2.5f

/* Gives all nodes that have samples near their value: the weighted mean of the distances from the
 * samples' planes (Kolluri 2005). Only samples that face as the nearest one does count, so the two
 * sides of a thin wall do not mix, and with them those on the other face of an edge, so that no
 * face goes on beyond it as a fin; and a surface goes no farther beyond its rim than `beside` times
 * samples->reach. */
enum status field_make(struct grid *grid, float beside, struct job *job);

#endif
