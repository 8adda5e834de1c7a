/* From the first triangulation of a hole to a surface that continues what is around it. */
#ifndef FETTLE_SURFACE_FILL_SMOOTHLY_H
#define FETTLE_SURFACE_FILL_SMOOTHLY_H

#include "core/status.h"
#include "surface/fill_around.h"
#include "surface/fill_walk.h"

/* Refines and fairs the patch, first coarsely (the first triangulation tells little about the
 * shape, and a coarse patch finds it cheaply), then as dense as its surroundings; each until the
 * area no longer changes. A hole that the surface closes over like a dome gets its curvature spread
 * evenly (fill_curve.h): a surface that only bends least would come out too flat there; not with a
 * slope of less than SLOPE_FULL. slope: how strongly the rim's is held (fill_fair.h); below 0 the
 * patch is refined only. *rough is set when it could not be faired; it is then refined only, too.
 * STATUS_MEMORY, STATUS_CANCELLED; records no failure. */
enum status smoothly_shape(struct patch *patch, const struct around *around,
                           const struct walk *walk, double slope, bool *rough,
                           const struct job *job);

#endif
