/* Handles and tunnels in what no scan saw. */
#ifndef FETTLE_SCAN_FUSE_HANDLES_H
#define FETTLE_SCAN_FUSE_HANDLES_H

#include "core/net.h"

struct open_patch {      /* vertices of cells that lack a measured corner, and hang together */
    struct grid_box box; /* of its cells */
    uint32_t handles; /* that it has, or makes: its own, and tubes from a measured part to itself */
    uint32_t part;    /* the whole surface it is part of */
};

/* The net's patches; *patch, *count: the caller frees by scratch_free. The grid has its nodes yet.
 */
enum status handles_find(const struct net *net, struct open_patch **patch, size_t *count,
                         struct job *job);

#endif
