/* How strongly the filling of a hole is to be curved, and where. */
#ifndef FETTLE_SURFACE_FILL_CURVE_H
#define FETTLE_SURFACE_FILL_CURVE_H

#include "core/status.h"
#include "surface/fill_laplace.h"

struct job;

/* Sets patch->curve from the present shape: the curvature it has next to the rim, evened out along
 * it, spread over the patch so that it changes no more than it must (it is harmonic: Schneider &
 * Kobbelt 2001). Negative where the surface bulges to the outside. STATUS_MEMORY, STATUS_CANCELLED,
 * STATUS_REFUSED when there is nothing to spread. */
enum status curve_spread(struct patch *patch, const struct around *around, const struct job *job);

/* asked[v], for each vertex of the patch: the integral over its share of the surface of the
 * Laplacian that patch->curve stands for, along the present normals. */
void curve_ask(const struct laplace *laplace, struct vec *asked);

#endif
