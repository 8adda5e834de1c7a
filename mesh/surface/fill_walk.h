/* The way round a hole, as one closed walk even where islands lie in it. */
#ifndef FETTLE_SURFACE_FILL_WALK_H
#define FETTLE_SURFACE_FILL_WALK_H

#include "surface/fill_patch.h"

struct job;

/* A polygon in space; the patch lies to its left, seen from outside. Edge i runs from vertex i to
 * the next one. Where an island is joined to the rim by a bridge, the walk passes the bridge twice,
 * there and back, so that a vertex may occur more than once. */
struct walk {
    size_t count;
    uint32_t *vertex; /* one an edge: where it begins, a vertex of the patch */
    struct vec
        *outer;     /* one an edge: unit normal of the triangle across; zero where there is none */
    uint32_t *mate; /* one an edge: the same bridge on the way back; NO_INDEX along a rim */
};

/* Starts the patch (its old vertices and their places) and the walk round its hole: islands are
 * joined one after the other by the shortest bridge. False when out of memory or cancelled. */
bool walk_make(const struct mesh *mesh, const struct rims *rims, uint32_t hole, struct patch *patch,
               struct walk *walk, const struct job *job);
void walk_release(struct walk *walk);

/* Twice the area vector of the walk: where its area faces. */
struct vec walk_area(const struct walk *walk, const struct vec *at);

#endif
