/* What a collapse does to the colour.
 *
 * On each triangle the colour is a linear function of the place. Where a vertex goes, each triangle
 * around foretells a colour; how far these are from the one colour that the vertex can have is the
 * error (in the manner of Hoppe 1999, "New quadric metric for simplifying meshes with appearance
 * attributes", memoryless). So a colour that changes evenly costs nothing, an edge of colour does.
 */
#ifndef FETTLE_SURFACE_DECIMATE_TINT_H
#define FETTLE_SURFACE_DECIMATE_TINT_H

#include <stdint.h>

#include "core/vec.h"

struct patch;
struct star;

struct tint {          /* of a vertex; sums over its triangles, twice their areas being weights */
    float colour[3];   /* 0 to 1 */
    float weight;      /* sum of weights */
    float slope[3][3]; /* sums of weight * gradient, one a channel */
    float square[6]; /* sum over the channels of weight * gradient gradient^T: xx xy xz yy yz zz */
};

/* Sums the tints of all vertices, whose colours are there. */
void tint_sum(struct patch *patch);

/* The error (mm2 times colour^2) of merging a and b at `at` beside a, and the colour that it is
 * least for. */
double tint_cost(const struct patch *patch, uint32_t a, uint32_t b, struct vec at, float colour[3]);

/* Adds `contrast` times that error to a quadric of the place: H x x - 2 r x + c. */
void tint_add_quadric(const struct patch *patch, uint32_t a, uint32_t b, double contrast,
                      double H[6], struct vec *r, double *c);

/* Before star_collapse: the tints around, as they will be. */
void tint_collapse(struct patch *patch, const struct star *star);

#endif
