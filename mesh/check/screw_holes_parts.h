/* What the files that put holes together from round walls share. */
#ifndef FETTLE_CHECK_SCREW_HOLES_PARTS_H
#define FETTLE_CHECK_SCREW_HOLES_PARTS_H

#include "check/round.h"
#include "check/screw_holes.h"
#include "core/tree.h"

struct hole_finder {
    struct rounds rounds;
    const struct tree *tree; /* NULL: there is nothing to look at by rays */
    bool *used;              /* walls that belong to a hole */
    struct screw_hole *item;
    size_t count; /* never more than there are walls */
    struct job *job;
};

/* Keyholes; then bores of the walls that are left. */
enum status keyholes_find(struct hole_finder *f);
enum status bores_find(struct hole_finder *f);

/* How far it is to the surface from a place that way; INFINITY: there is none. */
static inline double hole_far(const struct hole_finder *f, struct vec from, struct vec way)
{
    struct hit hit = tree_ray(f->tree, from, way, 0, INFINITY);
    return hit.triangle == NO_INDEX ? INFINITY : hit.t;
}

/* The end of a wall that lies that way. */
static inline int hole_end(const struct round *round, struct vec way)
{
    return vec_dot(round->on.axis, way) > 0 ? ROUND_HIGH : ROUND_LOW;
}

#endif
