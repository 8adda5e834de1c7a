/* Moving the net onto what was measured. */
#ifndef FETTLE_SCAN_FUSE_FIT_H
#define FETTLE_SCAN_FUSE_FIT_H

#include "core/net.h"

/* Moves each vertex that has samples around it along its normal onto the quadric which lies best
 * among them, weighted by distance, by trust, by how nearly they face its way (so that an edge is
 * not rounded; Oztireli et al. 2009, "Feature Preserving Point Set Surfaces") and a second time by
 * how far off they were, where some are. Fills the net's normals, trust and colours; vertices
 * without trust keep their place, their normal is zero. */
enum status fit_net(struct net *net, struct job *job);

#endif
