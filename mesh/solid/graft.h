/* Triangles whose new vertices were rounded, and those around them, while what rounding did is
 * mended.
 */
#ifndef FETTLE_SOLID_GRAFT_H
#define FETTLE_SOLID_GRAFT_H

#include <stdlib.h>
#include <string.h>

#include "core/job.h"
#include "core/mesh.h"

struct graft {
    struct job *job;
    uint32_t made; /* refs from this one on are new vertices, which may be moved together */
    size_t triangles, vertices;
    uint32_t *from;   /* one a triangle: the one that it is part of, mostly itself */
    uint32_t *corner; /* 3 a triangle: a vertex of the graft; NO_INDEX: it is gone */
    uint32_t *ref;    /* one a vertex, ascending: what the caller calls it */
    struct vec *at;
    uint8_t *whole;  /* one a vertex: all triangles around it are in the graft */
    uint8_t *locked; /* one a vertex: it has changed in this pass */
    uint32_t *start; /* vertices + 1: star[start[v]] .. are 3 * triangle + corner around v */
    uint32_t *star;
    bool changed;
    bool still; /* vertices are drawn together, but not moved */
};

/* The caller sets job and made, asks for room, fills `corner` with its own numbers and lets these
 * be replaced by the graft's (graft_number sets ref, too); then it fills `at` and `whole`.
 * False when there is no memory (the job knows). */
bool graft_new(struct graft *graft, size_t triangles);
void graft_number(struct graft *graft);
uint32_t graft_vertex(const struct graft *graft, uint32_t ref); /* NO_INDEX: it has none */
void graft_release(struct graft *graft);

/* Moves and joins vertices by a few grains until nothing in the graft crosses or touches itself;
 * *faults counts what is left of that: 0 but for misery. Only whole vertices change. */
enum status graft_settle(struct graft *graft, double grain, uint64_t *faults);

/* Which triangles are to go: needles; and those folded back flat over the neighbour at their longest
 * edge, or over both others. */
struct graft_rule {
    double least; /* mm: lower triangles are needles */
    bool folded;  /* the other kind too */
    /* Whether two triangles may become those with these corners; NULL: any. */
    bool (*may)(const void *context, uint32_t needle, uint32_t twin, struct vec now[2][3]);
    const void *context;
};

/* Turns them into their neighbours where that helps (graft_flip.c); a triangle that changes so
 * is part of what its neighbour was. *flips: how many. When triangles of the graft then cross, all
 * of it is as it was, and none. */
enum status graft_flip(struct graft *graft, const struct graft_rule *rule, size_t *flips);

/* Cosines between normals: triangles that face so differently lie on each other, or flat on each
 * other. */
#define GRAFT_FOLDED (-0.9)
#define GRAFT_FLAT (-0.999)

/* --- what the files graft*.c share ------------------------------------------------------------ */

/* Of a corner (3 * triangle + corner): the k-th vertex after it in its triangle. */
static inline uint32_t beside(const struct graft *p, uint32_t at, uint32_t k)
{
    return p->corner[at / 3 * 3 + (at + k) % 3];
}

/* Sets `start` and `star` from the corners. */
void graft_stars(struct graft *graft);

static inline void drop(struct graft *p, uint32_t triangle)
{
    for (uint32_t k = 0; k < 3; k++)
        p->corner[3 * triangle + k] = NO_INDEX;
}

static inline bool same_place(struct vec a, struct vec b)
{
    return a.x == b.x && a.y == b.y && a.z == b.z;
}

/* Counts the pairs of triangles that cross. */
enum status graft_crossings(const struct graft *p, uint64_t *count);

/* The vertices in use, those in one place beside each other; scratch_free(*order). */
enum status graft_places(const struct graft *p, uint32_t **order, size_t *used);

/* Drops components whose mean thickness (twice the volume over the area) is less than that. */
enum status graft_drop_films(struct graft *p, double least);

/* Counts vertices that are not alone in their place or have more than one fan. */
enum status graft_faults(const struct graft *p, uint64_t *faults);

#endif
