/* The shape of what no scan saw. */
#ifndef FETTLE_SCAN_FUSE_FAIR_H
#define FETTLE_SCAN_FUSE_FAIR_H

#include "core/net.h"

/* Moves the vertices without trust to where the net bends least and goes on from the measured
 * vertices around without a crease. That is the shape of gaps up to some ten vertices wide; of
 * wider ones it is the shape that the winding number gave, smoothed, so that they neither bulge nor
 * are drawn through the surface in front. Least squares of the net's umbrella vectors (Kobbelt et
 * al. 1998, "Interactive Multi-Resolution Modeling on Arbitrary Meshes") by conjugate gradients. */
enum status fair_net(struct net *net, struct job *job);

/* Gives the vertices without a colour that of the nearest ones with one, along the net, mixed where
 * several are as near. Nothing to do for a net without colours. */
enum status fair_colours(struct net *net, struct job *job);

#endif
