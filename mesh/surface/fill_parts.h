/* What the files fill*.c that deal with all holes share. Nobody else includes this. */
#ifndef FETTLE_SURFACE_FILL_PARTS_H
#define FETTLE_SURFACE_FILL_PARTS_H

#include "core/tree.h"
#include "surface/fill.h"
#include "surface/fill_patch.h"

/* What a lid may be like. The first is the shape that was asked for; the others are tried in turn
 * where it crosses something. */
struct manner {
    enum fill_shape
        first;    /* what its first triangulation is to be like, and whether that is to go */
    bool clear;   /* round the surface that is there (fill_weigh.h) */
    bool dense;   /* gets new vertices, as dense as the surface around */
    double slope; /* how strongly it holds the rim's slope (fill_fair.h); below 0: left as it is */
};

struct lid {
    struct patch patch;
    uint32_t *clear; /* the corners, then the twins, of the first triangulation that is smooth and
                        clear, once it is known */
    size_t clear_triangles;
    bool rough;          /* could not be faired */
    unsigned manner;     /* the present one, an index */
    unsigned best;       /* of those tried: with the fewest crossings, of these the first */
    size_t best_crosses; /* pairs of triangles */
    bool settled;        /* stays as it is: no manner is left */
    bool reshape;        /* is to be made anew */
};

struct filling {
    const struct mesh *mesh; /* joined */
    const struct topology *topology;
    const struct tree *tree; /* of the mesh; NULL until a lid goes round what is there */
    enum fill_shape shape;
    struct rims rims;
    struct lid *lid; /* one a hole */
    struct job *job;
};

enum { LID_STEPS = 3 }; /* of the job, that making a lid counts per edge of its rim */

size_t lid_edges(const struct rims *rims, uint32_t hole);

/* The manners for a shape, the one asked for first. */
const struct manner *lid_manners(enum fill_shape shape, unsigned *count);

/* Makes the hole's patch, in its present manner. Several threads may call it. STATUS_MEMORY or
 * STATUS_CANCELLED; what it records in the job is for the caller to put right. */
enum status lid_make(struct filling *f, uint32_t hole);

/* Makes all lids that are to be (reshape), the longest first, side by side; counts LID_STEPS an
 * edge. Failures are recorded. */
enum status lids_make(struct filling *f);

/* The old mesh and the lids behind it: places and triangles, no attributes. start (holes + 1) gets
 * where each lid's triangles begin. NULL on failure, recorded. */
struct mesh *lids_mesh(struct filling *f, size_t *start);

/* Has lids that cross something take another manner, until none crosses that need not; *made, the
 * mesh of the lids, is replaced where that changed any. */
enum status lids_retreat(struct filling *f, struct mesh **made, size_t *start,
                         struct fill_report *report);

#endif
