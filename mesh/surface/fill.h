/* Filling holes. */
#ifndef FETTLE_SURFACE_FILL_H
#define FETTLE_SURFACE_FILL_H

#include "core/mesh.h"

enum fill_shape {
    FILL_FLAT,  /* no new vertices: the rim's own, triangulated with the least area */
    FILL_SMOOTH /* continues the surface: as dense as it and without a crease along the rim */
};

struct fill_options {
    double longest; /* mm: holes with a longer rim are left; 0: none are */
    enum fill_shape shape;
    const uint8_t *where; /* one a vertex of the mesh, which must be joined then: rims that leave
                             those marked are passed over, uncounted; NULL: none are */
    const struct vec *at; /* world: in place of `where`: only the hole whose rim comes nearest to
                             it (fill_one.h) is; NULL: all are */
};

enum fill_left {                    /* why a hole was left open */
                 FILL_LEFT_LONGER,  /* its rim is longer than asked for */
                 FILL_LEFT_UNENDED, /* its rim runs out at a non-manifold or misoriented edge */
                 FILL_LEFT_DOUBLE,  /* filling it would double a triangle */
                 FILL_LEFT_REASONS
};

struct fill_report {
    size_t filled;  /* holes */
    size_t islands; /* pieces of surface that lay in a hole and were joined to its rim */
    size_t crossed; /* of the filled: their rims run along triangles facing either way */
    size_t
        rough; /* of the filled: shape could not be made smooth (they follow the triangulation) */
    size_t retreated; /* of the filled: less smooth than asked for, as that would cross something */
    size_t crossing;  /* of the filled: they cross the surface, each other or themselves, in any
                         shape that was tried */
    size_t crossings; /* pairs of triangles, one of these fillings at least */
    struct vec crossing_at;         /* world: such a place */
    double rim;                     /* mm: length of all filled rims */
    double area;                    /* mm2: of the new triangles */
    double share;                   /* of the whole new surface */
    size_t vertices, triangles;     /* new ones */
    size_t left[FILL_LEFT_REASONS]; /* holes, by reason */
    double left_longest[FILL_LEFT_REASONS];
    struct vec left_at[FILL_LEFT_REASONS]; /* world: a rim vertex of the longest of them */
};

/* Closes the holes of the mesh: every boundary loop, those that touch themselves split into simple
 * ones. A piece of surface that lies inside a hole is joined to the hole's rim by one filling. Rims
 * that close only when misoriented triangles are allowed for are filled the way most of the rim
 * faces. New triangles face as their surroundings do, are marked ORIGIN_INVENTED, double none and
 * make no edge non-manifold. Old vertices and triangles keep their places and values, new ones
 * follow behind, hole by hole; values at new vertices (colour) are spread from the rim.
 *
 * Method: fill_weigh.h, fill_plane.h (triangulation), fill_refine.h (density), fill_fair.h (shape),
 * fill_spread.h (values). *out is a new mesh (joined first if it was not), or the same one shared
 * when nothing was filled. Holes are worked on side by side; the result does not depend on how many
 * threads there are. On failure nothing is owned. */
enum status fill_holes(const struct mesh *mesh, const struct fill_options *options,
                       struct mesh **out, struct fill_report *report, struct job *job);

#endif
