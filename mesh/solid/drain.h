/* Drain holes: where they go, and what stays behind them. */
#ifndef FETTLE_SOLID_DRAIN_H
#define FETTLE_SOLID_DRAIN_H

#include "core/tree.h"
#include "solid/footing.h"
#include "solid/hollow.h"

struct drain {
    struct footing footing;
    struct bore bore;
    double middle; /* depth halfway through the wall, mm */
};

struct cavity {              /* of a hollow body */
    const struct mesh *body; /* all surfaces; */
    const struct mesh *outside;
    const uint32_t *vertex; /* of the body: those of the cavity, */
    size_t vertices;
};

/* A hole through the wall at its lowest place (highest: `top`) that lets one through. *found: false
 * when there is none. STATUS_CANCELLED and STATUS_MEMORY. */
enum status drain_choose(const struct cavity *cavity, bool top, double wall, double width,
                         struct drain *out, bool *found, struct job *job);

/* A hole square to the outside at a place on it or near it; STATUS_REFUSED when none goes there. */
enum status drain_at(const struct mesh *body, const struct mesh *outside, struct vec at,
                     double wall, double width, struct drain *out, struct job *job);

struct trapped {
    double volume, largest; /* mm3; of the greatest pool, */
    size_t pools;
    struct vec at;    /* its bottom, world, */
    uint32_t *vertex; /* and the body's vertices under its level (scratch_free); NULL: no pool */
    size_t vertices;
};

/* How much liquid stays in the cavities of `body` as it stands, z up, that drain to the surface of
 * `outside`: by flooding from there, each place getting the level over which what lies in it
 * must rise to get out (priority-flood: Barnes, Lehman & Mulla 2014), and integrating the depths
 * below these levels over the surface. */
enum status trapped_find(const struct mesh *body, const struct mesh *outside, double wall,
                         struct trapped *out, struct job *job);

#endif
