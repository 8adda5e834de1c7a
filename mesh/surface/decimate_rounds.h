/* Rounds of collapses: the surface is split, each patch swept with a threshold that rises, and what
 * is left joined again. */
#ifndef FETTLE_SURFACE_DECIMATE_ROUNDS_H
#define FETTLE_SURFACE_DECIMATE_ROUNDS_H

#include "surface/decimate_split.h"

struct rounds {
    struct surface *surface;
    size_t to; /* triangles */
    bool keep_rim;
    unsigned share; /* permille of the job */
    struct job *job;
};

/* Runs them until the surface has so few triangles, or next to nothing goes any more. The surface
 * has no arrays of its own when nothing was to be done. */
enum status rounds_run(const struct rounds *rounds);

#endif
