/* The tolerance of a decimation: what the guard may allow where, and the proof of the result. */
#ifndef FETTLE_SURFACE_DECIMATE_WITHIN_H
#define FETTLE_SURFACE_DECIMATE_WITHIN_H

#include "surface/decimate_guard.h"
#include "surface/decimate_split.h"

/* A tolerance of `within` mm everywhere on the old mesh (joined). Released by the caller, also on
 * failure. */
enum status tolerance_init(struct tolerance *tolerance, const struct mesh *old, double within,
                           struct job *job);
void tolerance_release(struct tolerance *tolerance);

/* For the next attempt: no vertex has been moved yet. */
void tolerance_rewind(struct tolerance *tolerance);

/* Proves that `made` (whose triangles are those of the surface) and the old mesh lie within
 * `within` of one another. Where they do not (*broken triangles of either), the tolerance is
 * multiplied by `part` for the next attempt. */
enum status tolerance_prove(struct tolerance *tolerance, const struct surface *surface,
                            const struct mesh *made, double within, float part, size_t *broken,
                            struct job *job);

#endif
