/* Handles and tunnels in what no scan saw. */
#ifndef FETTLE_SCAN_FUSE_HANDLES_H
#define FETTLE_SCAN_FUSE_HANDLES_H

#include "core/net.h"

struct open_patch {      /* vertices of cells that lack a measured corner, and hang together */
    struct grid_box box; /* of its cells */
    uint32_t vertices;
    uint32_t handles; /* that it has, or makes: its own, and tubes from a measured part to itself */
    uint32_t part;    /* the whole surface it is part of */
};

struct rim_edge { /* of the rim of a patch with handles; the patch is to the left, seen from outside
                   */
    uint32_t patch, region, rim; /* region: the measured part it is a rim of */
    struct point a, b;
};

struct handles {
    struct open_patch *patch;
    size_t patches;
    struct rim_edge *edge; /* by patch, region and rim */
    size_t edges, room;
};

/* The net's patches. The grid has its nodes yet. Released by handles_release; on failure nothing is
 * owned. */
enum status handles_find(const struct net *net, struct handles *out, struct job *job);
void handles_release(struct handles *handles);

#endif
