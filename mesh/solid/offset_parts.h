/* What the files offset*.c share. Nobody else includes this. */
#ifndef FETTLE_SOLID_OFFSET_PARTS_H
#define FETTLE_SOLID_OFFSET_PARTS_H

#include "core/job.h"
#include "core/net.h"
#include "core/tree.h"
#include "solid/offset.h"

struct field { /* negative on the solid's side of the offset surface, mm */
    const struct tree *tree;
    double by, side; /* side: 1 outward, -1 inward */
};

struct field_at {
    double value;
    struct vec up;     /* unit: which way it grows */
    uint32_t triangle; /* the nearest */
};

/* `guess`: a triangle that may be near, or NO_INDEX. */
struct field_at field_find(const struct field *field, struct vec at, uint32_t guess);

struct offsetting {
    const struct mesh *solid;
    struct field field;
    struct grid grid;
    struct net net;
    struct spot *spot; /* one a vertex of the net */
    struct mesh *mesh; /* of the net */
    struct offset_report *report;
    struct job *job;
};

struct spot {            /* what is known of a net's vertex */
    struct point placed; /* where it was put first: the quads are cut by that */
    uint32_t near;
    float more;     /* how much farther than the distance it is to stand, mm */
    float value;    /* of the field where it stands */
    uint8_t inside; /* corners of its cell on the solid's side; */
    uint8_t turned; /* of these, those that were made so */
    bool stale;     /* its triangles are to be proved */
    bool plain;     /* it is to stay off creases */
};

/* The grid around the solid's box, and the blocks near the surface, their nodes with their values
 * (offset_grid.c). */
enum status offset_grid(struct offsetting *o, double spacing);

/* Puts the vertices that are marked stale where they belong (offset_place.c). */
enum status offset_place(struct offsetting *o);

/* Moves a vertex on to where spot->more says. */
void offset_push(struct offsetting *o, size_t v);

/* By how much a triangle as a whole is nearer than it may be, mm; 0: it is not. */
double offset_short_of(const struct offsetting *o, const struct vec corner[3]);

/* Proves the triangles at stale vertices, moving vertices until they hold (offset_prove.c).
 * Those of triangles for which that was not to be had stay stale. */
enum status offset_prove(struct offsetting *o);

/* Fills the report's least and most, from vertices and the middles of triangles. */
enum status offset_measure(struct offsetting *o);

#endif
