/* The vertices of the net that no scan placed, and the shapes of least energy that they can take
 * between those that one did. */
#ifndef FETTLE_SCAN_FUSE_LOOSE_H
#define FETTLE_SCAN_FUSE_LOOSE_H

#include "core/net.h"
#include "scan/fuse_ladder.h"

/* Rows: the loose vertices come first, patch by patch (those that hang together), then the measured
 * ones beside them, whose bending counts. */
struct loose {
    struct net *net;
    uint32_t *row;              /* one a vertex of the net: its row, or NO_INDEX */
    uint32_t *vertex;           /* of each row */
    uint32_t *of;               /* the patch of each loose one */
    size_t free, rows, patches; /* free: loose */
    float *say;                 /* one a row: what its bending counts; 1 at first */
    double pull;                /* of each back to where it was */
    struct ladder ladder;
    struct vec *move, *residual, *along, *bend, *image, *eased; /* one a row */
    double *sum;                                                /* of each block of rows */
    int threads;
    struct job *job;
};

/* Lists them; patches that hang on nothing measured are left out. free may be 0: then there is
 * nothing to shape. Released by loose_release whatever is returned. */
enum status loose_list(struct net *net, struct loose *out, struct job *job);
void loose_release(struct loose *loose);

/* Moves the loose vertices of the net, in patches for which chosen[] is not 0 (NULL: in all): to
 * the membrane, each in the middle of its neighbours; */
void loose_spread(struct loose *loose, const uint8_t *chosen);

/* to the thin plate, whose umbrella vectors are least in the sum of squares, each row by its say;
 */
void loose_bend(struct loose *loose, const uint8_t *chosen);

/* to where waves of the shape so many edges long (over 2 pi) are bent as is best, and longer ones
 * stay as they are. */
void loose_soften(struct loose *loose, const uint8_t *chosen, double length);

#endif
