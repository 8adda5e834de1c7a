/* The place on a solid where a fixing feature is to be cut: which way is square to it, how flat it
 * is, and how much material there is around and behind. All by rays through the mesh's tree, a
 * fixed number a feature. */
#ifndef FETTLE_SOLID_FOOTING_H
#define FETTLE_SOLID_FOOTING_H

#include "core/tree.h"
#include "solid/cutters.h"

struct footprint { /* mm: a disc; or the same disc moved `up` and all between */
    double radius, up;
};

struct footing {
    struct cutter_place place; /* depth 0: the plane of the footprint's mean height */
    double before, behind; /* mm: how far the surface in the footprint stands before depth 0, and
                              how far it lies behind it */
    double uneven;         /* mm: highest less lowest, counted from the surface's own best plane */
    double tilt;           /* degrees between the axis and square to that plane */
    double hanging;        /* share of the footprint below which there is no surface */
};

/* The axis goes through `at` (world) along `along` (into the material, any length) where it meets
 * the surface there. `along` NULL, or the surface farther off: through the point of the surface
 * nearest to `at`; NULL: square to the least-squares plane of the surface in the footprint. `up`:
 * about where the slot runs to, made square to the axis; along the axis: another is taken.
 * STATUS_REFUSED when the mesh has no surface there. */
enum status footing_find(const struct mesh *mesh, struct vec at, const struct vec *along,
                         struct vec up, struct footprint footprint, struct footing *out,
                         struct job *job);

/* Where lines along the axis, all over the footprint, meet the material, mm from depth 0. */
struct footing_far {
    double in;            /* deepest place where they enter the solid */
    double shallow, deep; /* where they leave it first, shallowest and deepest; INFINITY: nowhere */
    double next;          /* where they meet material again; INFINITY: nowhere */
};
struct footing_far footing_far(const struct tree *tree, const struct footing *footing,
                               struct footprint print);

/* The thinnest wall beside a tool, mm: how far the surface is from its axis, less the radius(depth,
 * context), looked at from depth `first` to `last`; negative: the tool breaks out. INFINITY: there
 * is nothing beside it. */
double footing_side(const struct tree *tree, const struct footing *footing, double up, double first,
                    double last, double (*radius)(double depth, const void *context),
                    const void *context);

/* The narrowest width of a hole at that depth, measured between opposite ones of `facets` facets;
 * 0 when the hole is open there. */
double footing_width(const struct tree *tree, const struct footing *footing, double depth,
                     uint32_t facets);

#endif
