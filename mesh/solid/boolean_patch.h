/* The triangles at the cut and around it while they are mended (boolean_mend.c, boolean_films.c).
 * Nobody else includes this. */
#ifndef FETTLE_SOLID_BOOLEAN_PATCH_H
#define FETTLE_SOLID_BOOLEAN_PATCH_H

#include "solid/boolean_parts.h"

struct patch {
    struct joint *j;
    size_t triangles, vertices;
    uint32_t *corner; /* 3 a triangle: a vertex of the patch; NO_INDEX: it is gone */
    uint32_t *ref;    /* one a vertex */
    struct vec *at;
    uint8_t *whole;  /* one a vertex: all triangles around it are in the patch */
    uint8_t *locked; /* one a vertex: it has changed in this pass */
    uint32_t *start; /* vertices + 1: star[start[v]] .. are 3 * triangle + corner around v */
    uint32_t *star;
    bool changed;
};

/* Of a corner (3 * triangle + corner): the k-th vertex after it in its triangle. */
static inline uint32_t beside(const struct patch *p, uint32_t at, uint32_t k)
{
    return p->corner[at / 3 * 3 + (at + k) % 3];
}

static inline void drop(struct patch *p, uint32_t triangle)
{
    for (uint32_t k = 0; k < 3; k++)
        p->corner[3 * triangle + k] = NO_INDEX;
}

static inline bool same_place(struct vec a, struct vec b)
{
    return a.x == b.x && a.y == b.y && a.z == b.z;
}

/* The vertices in use, those in one place beside each other; scratch_free(*order). */
enum status patch_places(const struct patch *p, uint32_t **order, size_t *used);

/* Drops components whose mean thickness (twice the volume over the area) is less than that. */
enum status patch_drop_films(struct patch *p, double least);

/* Counts vertices that are not alone in their place or have more than one fan. */
enum status patch_faults(const struct patch *p, uint64_t *faults);

#endif
