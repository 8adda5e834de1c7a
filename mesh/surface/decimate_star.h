/* One collapse: whether it may be done, and doing it. */
#ifndef FETTLE_SURFACE_DECIMATE_STAR_H
#define FETTLE_SURFACE_DECIMATE_STAR_H

#include "surface/decimate_patch.h"

enum { STAR_MOST = 40 }; /* triangles around an edge that may collapse */

/* The collapse of an edge a b to x. The triangles around it that stay: each keeps its side p q and
 * gets x in the place of a (the first `split` ones) or b. */
struct star {
    uint32_t half; /* from a to b */
    struct vec a, b, x;
    int count, split;
    uint32_t face[STAR_MOST], p[STAR_MOST], q[STAR_MOST];
    struct vec old[STAR_MOST], new[STAR_MOST]; /* area vectors: twice the area long */
    double old_length[STAR_MOST], new_length[STAR_MOST];
};

/* The link condition (Dey, Edelsbrunner, Guha & Nekhayev 1999, "Topology preserving edge
 * contraction"): the collapse of h changes no topology. False also when more than STAR_MOST
 * triangles are around it. */
bool link_allows(struct patch *patch, uint32_t h);

/* The star of h, which link_allows; x is a float position. */
void star_make(const struct patch *patch, uint32_t h, struct vec x, struct star *star);

/* Puts x into the planes of the flat places that the star is part of, where it is near them, and
 * not beyond what the mesh stands on. */
void star_flatten(const struct patch *patch, struct star *star);

/* Whether x lies beside the plane of a flat place that the star is part of. */
bool star_off_flat(const struct patch *patch, const struct star *star);

/* No face turns over, none becomes a needle (but where there were needles, they may stay). A face
 * too slim to have a direction of its own must look the way the whole star does. */
bool star_allows(const struct patch *patch, const struct star *star);

/* Collapses it: b's triangles become a's, a moves to x, the quadrics around change with them.
 * Costs of the edges of a are left to the caller. */
void star_collapse(struct patch *patch, const struct star *star);

#endif
