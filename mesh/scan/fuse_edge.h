/* Sharp edges and corners. */
#ifndef FETTLE_SCAN_FUSE_EDGE_H
#define FETTLE_SCAN_FUSE_EDGE_H

#include "core/net.h"

/* Where the fitted net turns sharply, and two or three faces, each fitted by itself, explain the
 * samples around better than one bent one: puts the vertex whose cell the edge or corner passes
 * upon it (as dual contouring does: Ju et al. 2002), and the others beside it onto their own face.
 * Sets net->sharp. Fillets wider than the spacing stay round, since one bent face explains them. */
enum status sharpen_net(struct net *net, struct job *job);

#endif
