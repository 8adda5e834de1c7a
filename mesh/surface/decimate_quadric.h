/* The quadrics of a patch, and what the collapse of an edge costs by them: see decimate_patch.h. */
#ifndef FETTLE_SURFACE_DECIMATE_QUADRIC_H
#define FETTLE_SURFACE_DECIMATE_QUADRIC_H

#include "surface/decimate_patch.h"

/* What a triangle of a flat place counts beside another. */
#define FLAT_WEIGHT 10.0

/* plane += weight * length * (squared distance from the plane): of the triangle whose area vector
 * n (twice its area) has that length. */
void quadric_add_plane(double plane[6], struct vec n, double length, double weight);

/* plane += weight * |d|^2 * (squared distance from the line along d). */
void quadric_add_line(double plane[6], struct vec d, double weight);

/* Sums those of all vertices from the triangles and rim edges around them. */
void quadric_sum(struct patch *patch);

struct solution {
    double cost;
    struct vec at; /* beside the first vertex */
};

/* Where the edge from a to b would collapse to, and what it costs: the lowest point of both ends'
 * quadrics, or the end that moves less freely. */
struct solution quadric_solve(const struct patch *patch, uint32_t a, uint32_t b);

#endif
