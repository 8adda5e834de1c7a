/* The surface that closes one hole, in the making: a small triangulation that grows and changes its
 * diagonals. Half-edge h = 3 * triangle + k runs from corner k to corner k + 1, as in topology.h.
 */
#ifndef FETTLE_SURFACE_FILL_PATCH_H
#define FETTLE_SURFACE_FILL_PATCH_H

#include "core/vec.h"
#include "surface/fill_rim.h"

struct patch {
    const struct rims *rims;
    uint32_t hole;
    size_t rim;      /* so many vertices are old ones, on the rims; they come first */
    uint32_t *old;   /* one an old vertex: its number in the mesh */
    struct vec *at;  /* one a vertex: mm, local */
    double *size;    /* one a vertex: the length wanted of edges there, mm */
    double *curve;   /* one a vertex: twice the mean curvature wanted there, 1/mm (fill_curve.h) */
    uint32_t *leave; /* one a vertex: a half-edge leaving it */
    size_t vertices, vertex_room;
    uint32_t *corner; /* 3 * triangles: the vertex */
    uint32_t *twin;   /* 3 * triangles: the half-edge across; NO_INDEX along a rim */
    size_t triangles, triangle_room;
    struct pairs own; /* inner edges between two old vertices */
    uint32_t *todo;   /* half-edges patch_relax is to look at */
    size_t todos, todo_room;
    double flat; /* how much a pair of triangles may bend and still change its diagonal, as the
                    cosine of the bend; -1: any, if it bends no more then */
};

void fill_patch_release(struct patch *patch);

/* Room for so many in all; false when out of memory. */
bool patch_reserve(struct patch *patch, size_t vertices, size_t triangles);

/* A triangle without neighbours yet; the caller has reserved room. Returns its number. */
uint32_t patch_add(struct patch *patch, uint32_t a, uint32_t b, uint32_t c);

/* Whether no inner edge is one that the mesh has already; before patch_settle. */
bool patch_fits(const struct patch *patch);

/* Once all triangles are added and linked: sets leave and own, and splits inner edges that the mesh
 * or the patch has already. False when out of memory. */
bool patch_settle(struct patch *patch);

/* A new vertex inside a triangle, or in the middle of an inner edge, with the mean of its corners'
 * values. False when out of memory. */
bool patch_split(struct patch *patch, uint32_t triangle, struct vec at);
bool patch_split_edge(struct patch *patch, uint32_t half);

/* Has patch_relax look at the half-edge. False when out of memory. */
bool patch_look_at(struct patch *patch, uint32_t half);

/* Changes diagonals, beginning with those asked for, until opposite angles add up to no more than
 * half a turn (Lawson 1977; in space as in Liepa 2003). A change that would fold the surface or
 * double an edge is not made. False when out of memory or cancelled. */
bool patch_relax(struct patch *patch, const struct job *job);

static inline uint32_t patch_from(const struct patch *patch, uint32_t half)
{
    return patch->corner[half];
}
static inline uint32_t patch_to(const struct patch *patch, uint32_t half)
{
    return patch->corner[half_next(half)];
}
/* The vertex across from the half-edge in its triangle. */
static inline uint32_t patch_apex(const struct patch *patch, uint32_t half)
{
    return patch->corner[half_prev(half)];
}

/* Twice the area times the unit normal. */
struct vec patch_normal(const struct patch *patch, uint32_t triangle);

/* Grows *list to hold `count` elements; false when out of memory (the list stays). */
bool list_grow(void *list, size_t *room, size_t count, size_t element);

#endif
