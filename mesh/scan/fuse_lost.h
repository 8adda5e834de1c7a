/* What was measured and is not in the fused surface. */
#ifndef FETTLE_SCAN_FUSE_LOST_H
#define FETTLE_SCAN_FUSE_LOST_H

#include "core/net.h"
#include "scan/fuse_samples.h"

struct fuse_lost {
    size_t samples;   /* with no surface near that faces their way */
    struct vec at;    /* the middle one of them, in the order of the grid; in the world */
    double thickness; /* mm: the median of the walls they stand on; 0: they stand on none */
};

/* Looks for the surface beside each sample: the two sides of a wall much thinner than a cell cannot
 * both pass it, and then neither does. After the net was fitted, while the samples are there. */
enum status lost_find(const struct net *net, const struct fuse_samples *samples,
                      struct fuse_lost *out, struct job *job);

#endif
