/* Holes for screws found in the surface alone, whatever program cut them: bores, plain or with a
 * recess for the head, and keyholes. They are put together from the hollow round walls (round.h),
 * and looked at by rays. Not found are holes whose wall is no cylinder (threads, tapers, hexagons),
 * or is missing by a twelfth and more of its circle, as where they cut an edge. */
#ifndef FETTLE_CHECK_SCREW_HOLES_H
#define FETTLE_CHECK_SCREW_HOLES_H

#include "core/derive.h"
#include "core/vec.h"

enum screw_hole_kind { SCREW_HOLE_BORE, SCREW_HOLE_KEYHOLE };
enum screw_hole_recess { RECESS_NONE, RECESS_SUNK, RECESS_BORED };

struct screw_hole { /* local, mm */
    enum screw_hole_kind kind;
    struct vec at;    /* on the mean plane of the rim: the bore's axis; of a keyhole the middle of
                         the slot's upper end */
    struct vec along; /* unit: into the material; of a bore with a recess from there */
    struct vec up;    /* unit, square to along: where a keyhole's slot runs to */
    double width;     /* diameter that the wall leaves free; of the slot: what its end leaves */
    double corners;   /* diameter through the edges between its facets */
    double off;       /* RMS of those edges from the circle */
    double depth;     /* where the wall is looked at again: in its middle, from the rim */
    bool through;     /* of a bore: out on the other side of what it was bored into */
    bool clear;       /* of one through: nothing more of the mesh lies on its axis */
    double length;    /* of a bore: from rim to rim, or down to where it is no longer as wide */
    enum screw_hole_recess recess;
    double mouth, sunk, angle; /* its diameter at the rim, its depth, a cone's full angle (degrees);
                                  of a chamfer, too narrow to be a recess, too */
    double entry, travel, lip; /* of a keyhole: diameter; from its middle to `at`; thickness */
    double pocket, room;       /* depth and width behind the lip; INFINITY: nothing there */
};

struct screw_holes {
    size_t count;
    struct screw_hole *item; /* keyholes first, then in the order of the triangles */
};

/* From 1 to 30 mm wide, entries to 64. NULL on failure; owned by the mesh. */
static inline const struct screw_holes *mesh_screw_holes(const struct mesh *mesh, struct job *job)
{
    return (const struct screw_holes *)mesh_derive(mesh, DERIVED_screw_holes, job);
}

#endif
