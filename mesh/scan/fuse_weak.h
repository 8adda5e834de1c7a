/* Where the net has no measurement to stand on. */
#ifndef FETTLE_SCAN_FUSE_WEAK_H
#define FETTLE_SCAN_FUSE_WEAK_H

#include "core/net.h"

/* weak[v] = 1 for each vertex of a relaxed net near which no sample faces about as the net does:
 * what no scan saw, and bridges and tunnels between sides that stand closer than the grid can tell
 * apart, whose own surface nobody measured. Uses net->normal. */
enum status weak_find(struct net *net, uint8_t *weak, struct job *job);

#endif
