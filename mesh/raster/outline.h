/* The outline of meshes seen from afar: the shadow that they throw, as closed lines.
 *
 * What is covered is drawn on a grid of at most OUTLINE_SIDE cells a side, whose borders are
 * followed and thinned (Douglas & Peucker 1973): so it is right to about a cell, and holes narrower
 * than that are not in it. */
#ifndef FETTLE_RASTER_OUTLINE_H
#define FETTLE_RASTER_OUTLINE_H

#include "core/mesh.h"

enum { OUTLINE_SIDE = 1200 };

struct outline {
    double (*at)[2]; /* mm from the middle of what was asked for: right and up */
    size_t *start;   /* loop i is at[start[i]] ... at[start[i + 1] - 1]; counter-clockwise around
                        what is covered, clockwise around holes */
    size_t loops;
    double cell; /* mm */
};

/* Seen against the unit vector `toward` (from the meshes to the viewer), with `up` (unit, square to
 * it) upwards; all of it must lie within `width` x `height` mm about `middle` (world). Failures:
 * STATUS_MEMORY and STATUS_CANCELLED; *out is then empty. */
enum status outline_find(const struct mesh *const *mesh, size_t count, struct vec middle,
                         struct vec toward, struct vec up, double width, double height,
                         struct outline *out, struct job *job);
void outline_release(struct outline *outline);

/* Closed lines around the cells that are set, each `cell` mm wide, of a grid whose lower left
 * corner is at `from`; thinned to what lies within 0.6 cells. */
enum status outline_trace(const uint8_t *set, size_t width, size_t height, const double from[2],
                          double cell, struct outline *out, struct job *job);

#endif
