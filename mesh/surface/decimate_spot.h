/* Where on a surface a point lies that is known to lie near one of its vertices: a walk from
 * triangle to triangle, quicker than a search through a tree and nearly always as good. */
#ifndef FETTLE_SURFACE_DECIMATE_SPOT_H
#define FETTLE_SURFACE_DECIMATE_SPOT_H

#include "core/topology.h"

struct ground { /* the surface; its points may have moved since the topology was made */
    const struct mesh *mesh;
    const struct topology *topology;
};

struct spot {
    uint32_t triangle; /* NO_INDEX: none */
    double weight[3];  /* barycentric */
    double distance2;  /* squared, from the point */
};

/* The corners of a triangle. */
void ground_corners(const struct ground *ground, uint32_t triangle, struct vec corner[3]);

/* Starts with no spot: { NO_INDEX, .., INFINITY }. */
struct spot spot_none(void);

/* Takes the triangle, those around the vertex, or those around the triangle, if nearer. */
void spot_try(const struct ground *ground, struct vec p, uint32_t triangle, struct spot *spot);
void spot_try_ring(const struct ground *ground, struct vec p, uint32_t vertex, struct spot *spot);

/* Walks from triangle to neighbour as long as it gets nearer. */
void spot_walk(const struct ground *ground, struct vec p, struct spot *spot);

/* What separates p from the spot. */
struct vec spot_offset(const struct ground *ground, struct vec p, const struct spot *spot);

/* Whether that is a step aside more than a step above the triangle: then perhaps another place is
 * nearer, beyond a fold. */
bool spot_is_aside(const struct ground *ground, struct vec p, const struct spot *spot);

/* The spot near the first of the vertices; where that is aside, near the others and around too.
 * No triangle when the vertices have none. */
struct spot spot_find(const struct ground *ground, struct vec p, const uint32_t *vertex, int count);

#endif
