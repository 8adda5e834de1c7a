/* A quick, rough inverse of a graph's Laplacian: the net's unknown vertices in ever coarser bundles
 * (aggregation multigrid: Braess 1995, "Towards Algebraic Multigrid for Elliptic Problems of Second
 * Order"; Notay 2010). */
#ifndef FETTLE_SCAN_FUSE_LADDER_H
#define FETTLE_SCAN_FUSE_LADDER_H

#include "core/job.h"
#include "core/mesh.h"

struct rung {
    size_t count;
    uint32_t *start; /* of each one's entries in other and tie; one more behind the last */
    uint32_t *other;
    float *tie;     /* of the edge to other, positive */
    float *whole;   /* the diagonal: all ties, those to fixed vertices as well */
    uint32_t *up;   /* its bundle on the next rung; NULL: the last rung */
    uint32_t *list; /* the members of the next rung's bundles, bundle by bundle, */
    uint32_t *from; /* and where each bundle's begin */
    struct vec *x, *b, *r;
};

enum { RUNGS_MOST = 24 };

struct ladder {
    struct rung rung[RUNGS_MOST];
    int rungs;
    int threads;
    const struct job *job; /* asked while it is climbed */
};

/* Builds the rungs above rung 0, whose count, start, other, tie and whole the caller has filled
 * with memory from scratch_new; the ladder owns them from then on, whatever is returned. Each
 * connected part must be tied to something fixed. */
enum status ladder_make(struct ladder *ladder, struct job *job);
void ladder_release(struct ladder *ladder);

/* out = about the inverse of (whole - ties) times in; linear and symmetric, the same whatever the
 * thread count. Of no use when the job was cancelled meanwhile. */
void ladder_solve(struct ladder *ladder, const struct vec *in, struct vec *out);

/* out = (whole - ties) times in, on rung 0. */
void ladder_apply(const struct ladder *ladder, const struct vec *in, struct vec *out);

#endif
