/* Deviation between two surfaces: measured by samples (Cignoni, Rocchini, Scopigno, "Metro:
 * measuring error on simplified surfaces", 1998), and proved within a tolerance. */
#ifndef FETTLE_CHECK_DEVIATION_H
#define FETTLE_CHECK_DEVIATION_H

#include "core/mesh.h"
#include "core/within.h"

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

/* Samples each surface evenly by area with `samples` points (0: as many as the larger mesh has
 * triangles, at least 100 000) and measures to the other; `max` is taken over every vertex besides,
 * where it mostly is. p95 is the smallest measured distance that 95 % of the samples do not exceed.
 * The sign is that of the angle-weighted normal at the nearest face, edge or vertex (Baerentzen,
 * Aanaes, "Signed distance computation using the angle weighted pseudonormal", 2005).
 * A point cloud is sampled at its points; it has no sides, so distances to it count as positive.
 * Deterministic; vertices need not be joined. STATUS_REFUSED when either is empty. */
enum status deviation_compare(const struct mesh *a, const struct mesh *b, uint64_t samples,
                              struct comparison *out, struct job *job);

#endif
