/* The colour of what no scan saw. */
#ifndef FETTLE_SCAN_FUSE_PAINT_H
#define FETTLE_SCAN_FUSE_PAINT_H

#include "core/net.h"

/* Gives the vertices without a colour that of the nearest ones with one, along the net, mixed where
 * several are as near. Nothing to do for a net without colours. */
enum status paint_net(struct net *net, struct job *job);

#endif
