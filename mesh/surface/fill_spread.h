/* Values (colour, confidence, ...) for the new vertices of a filled hole. */
#ifndef FETTLE_SURFACE_FILL_SPREAD_H
#define FETTLE_SURFACE_FILL_SPREAD_H

#include "surface/fill_patch.h"

struct job;

/* Gives the patch's new vertices, which stand at first, first + 1, ... in `made`, the values of every
 * vertex attribute that can be mixed: those of the rim, spread evenly (each value is the mean of its
 * neighbours', weighted by cotangents, so no value leaves the range of the rim's). Records no
 * failure. */
enum status spread_values(const struct patch *patch, const struct mesh *old, struct mesh *made,
                          uint32_t first, const struct job *job);

/* seed[i] for vertex i of the patch: an old vertex (numbered as in the patch) not far from it. */
void spread_seeds(const struct patch *patch, uint32_t *seed);

#endif
