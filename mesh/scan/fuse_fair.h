/* The shape of what no scan saw. */
#ifndef FETTLE_SCAN_FUSE_FAIR_H
#define FETTLE_SCAN_FUSE_FAIR_H

#include "core/net.h"

struct fair_patch {      /* invented vertices that hang together */
    uint32_t first, end; /* in vertex[] */
    uint8_t retreats;    /* how often it gave way */
};

struct fair_shape {
    size_t count, patches;
    uint32_t *vertex; /* the invented vertices that hang on measured ones, patch by patch */
    uint32_t *of;     /* the patch of each */
    uint8_t *ring;    /* how many edges each is from what was measured, 255 at the most */
    struct fair_patch *patch;
    struct point *raw;    /* where the winding number put each */
    struct point *spread; /* where it would be, spread over the rim, */
    struct point *calm;   /* and as the winding number had it, but smooth; NULL: not asked yet */
};

/* Moves the vertices without trust to the fairest surface that spans the rim of what was measured:
 * first the membrane (harmonic: every vertex in the middle of its neighbours), then the thin plate
 * (biharmonic) that goes on from the rim without a crease - but only where the membrane leaves the
 * rim at less than about 40 degrees to it. Where it turns more, there is an edge: an unseen sole
 * within a flat rim becomes flat and has no lip. (Botsch & Kobbelt 2004, "An Intuitive Framework
 * for Real-Time Freeform Modeling", for both as one energy, here with the net's umbrella vectors,
 * Kobbelt et al. 1998; least squares by conjugate gradients, preconditioned by fuse_ladder.)
 *
 * A patch that would come too close to what was measured - the back of a flat sheet, say - retreats
 * towards the shape that the winding number gave, smoothed. *out: what fair_retreat needs; released
 * by fair_release whatever is returned. */
enum status fair_net(struct net *net, struct fair_shape *out, struct job *job);

/* Lets those patches retreat for which gives_way[] is not 0. *any: whether one did; each does so
 * RETREATS_MOST times at the most. */
enum { RETREATS_MOST = 3 };
enum status fair_retreat(struct net *net, struct fair_shape *shape, const uint8_t *gives_way,
                         bool *any, struct job *job);

void fair_release(struct fair_shape *shape);

#endif
