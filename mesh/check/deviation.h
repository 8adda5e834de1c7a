/* Deviation between two surfaces: Cignoni et al. 1998, both ways. */
#ifndef FETTLE_CHECK_DEVIATION_H
#define FETTLE_CHECK_DEVIATION_H

#include "core/mesh.h"

struct deviation {                  /* one way: samples of A to the surface of B; mm */
    double mean, rms, sd, p95, max; /* of |d|; sd of the signed distance about its mean */
    double signed_mean;             /* positive: A lies outside B */
    uint64_t samples;
    struct vec worst; /* where max is, world */
};

struct comparison {
    struct deviation a_to_b, b_to_a;
    double hausdorff; /* the larger of the two maxima */
};

/* Samples each surface evenly by area (every vertex and `samples` points besides; 0: as many as
 * the larger mesh has triangles, at least 100 000) and measures to the other. Deterministic. Point
 * clouds are sampled at their points. STATUS_REFUSED when either is empty. */
enum status deviation_compare(const struct mesh *a, const struct mesh *b, uint64_t samples,
                              struct comparison *out, struct job *job);

#endif
