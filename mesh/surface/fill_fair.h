/* Shaping the filling of a hole. */
#ifndef FETTLE_SURFACE_FILL_FAIR_H
#define FETTLE_SURFACE_FILL_FAIR_H

#include "core/status.h"
#include "surface/fill_around.h"

struct job;

/* How much more an equation counts at the rim than elsewhere, where that is to hold the slope.
 * Measured on surfaces with noise: less leaves a crease, more takes the noise of the rim's
 * triangles for the slope. */
#define SLOPE_FULL 2.0

/* Moves the patch's new vertices so that the surface bends least: the integral of the squared
 * Laplacian of the position, over the patch and its rim, is made as small as it can be while the
 * rim and all around it stay (Kobbelt et al. 1998, "Interactive Multi-Resolution Modeling on
 * Arbitrary Meshes"). Since the Laplacian at the rim counts too, `slope` times as much, the surface
 * goes on without a crease. With a slope of 0 it does not count: what is left is a membrane.
 *
 * With `curved` the Laplacian is to be the curvature asked for by patch->curve, along the present
 * normals, instead of zero (Schneider & Kobbelt 2001, "Geometric Fairing of Irregular Meshes for
 * Free-Form Surface Design"): so a cap goes on as a sphere.
 *
 * STATUS_REFUSED when the equations have no sound solution, or one far beyond the rim: nothing was
 * moved then. STATUS_MEMORY, STATUS_CANCELLED; records no failure. */
enum status fair_patch(struct patch *patch, const struct around *around, double slope, bool curved,
                       const struct job *job);

#endif
