/* The Laplacian of position on the filling of a hole. */
#ifndef FETTLE_SURFACE_FILL_LAPLACE_H
#define FETTLE_SURFACE_FILL_LAPLACE_H

#include "surface/fill_around.h"

/* At each vertex of the patch, rim included, the integral of the Laplacian over the vertex's share
 * of the surface is the sum over its neighbours of weight * (neighbour - vertex), with the weights
 * of Pinkall & Polthier 1993, "Computing Discrete Minimal Surfaces and Their Conjugates". Vertices
 * are numbered as in the patch, those around (not on the rim) behind them. */
struct laplace {
    const struct patch *patch;
    const struct around *around;
    uint32_t *start; /* patch vertices + 1: vertex v has near[start[v]] ..., `count[v]` of them */
    uint32_t *count;
    uint32_t *near;
    double *weight;
    double *area; /* one a patch vertex: its share, a third of its triangles, mm2 */
};

/* False when out of memory; nothing is owned then. */
bool laplace_make(const struct patch *patch, const struct around *around, struct laplace *out);
void laplace_release(struct laplace *laplace);

/* Where a vertex is; the vertex at corner i of all triangles, the patch's first, then those around.
 */
struct vec laplace_place(const struct laplace *laplace, uint32_t v);
uint32_t laplace_corner(const struct laplace *laplace, size_t i);

/* Whether it is one of the patch's new vertices. */
static inline bool laplace_is_new(const struct laplace *laplace, uint32_t v)
{
    return v >= laplace->patch->rim && v < laplace->patch->vertices;
}

#endif
