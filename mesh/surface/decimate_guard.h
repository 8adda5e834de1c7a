/* Keeping a tolerance while collapsing: every vertex of the original that is no longer there is a
 * sample, listed with the triangle it now lies on. Seen from above, two surfaces of flat triangles
 * lie farthest apart at a vertex of one or where their edges cross; so a collapse is refused when
 * it would leave a sample too far from the new surface, or the new vertex too far from the old one,
 * or an edge of the original that leaves a sample too far above an edge of the new one.
 *
 * "Seen from above" fails at folds, so this is for economy; the proof comes after
 * (core/within.h). Measured: 100 820 triangles within 0.1 mm, 5 of them broke the tolerance, by
 * 3.5 % at most; without the crossings 1 % of the triangles did, by 50 %. */
#ifndef FETTLE_SURFACE_DECIMATE_GUARD_H
#define FETTLE_SURFACE_DECIMATE_GUARD_H

#include "surface/decimate_spot.h"
#include "surface/decimate_star.h"

#define SAMPLE_NONE UINT32_MAX           /* ends a list */
#define SAMPLE_UNLISTED (UINT32_MAX - 1) /* the vertex is still there, unmoved */

struct tolerance { /* of one run, shared by its patches */
    struct ground old;
    double allowed; /* mm */
    uint32_t *next; /* one an old vertex: the next sample of the same triangle */
    uint32_t *mark; /* one an old vertex: scratch, its place among the samples of a star */
};

struct sample {
    uint32_t vertex; /* of the original */
    int face;        /* of the star, on which it comes to lie */
};

struct guard { /* of one patch; the lists begin in corner[4 t + 3] */
    const struct tolerance *tolerance;
    const uint32_t *vertex_of; /* the original vertex of the patch's vertex_id; NULL: the same */
    struct sample *sample;     /* of the star last asked for */
    size_t count, room;
    bool short_of_memory; /* then it refuses all */
};

/* A tolerance of `within` mm everywhere on the old mesh (joined), of which no vertex has been moved
 * yet. Released by the caller, also on failure. */
enum status tolerance_init(struct tolerance *tolerance, const struct mesh *old, double within,
                           struct job *job);
void tolerance_release(struct tolerance *tolerance);

/* Lists the samples anew on a surface whose vertices are vertex_of[] of the old mesh, parent[]
 * saying where the others went: head[] (one a triangle of it) begins the lists. */
enum status tolerance_resample(struct tolerance *tolerance, const struct mesh *surface,
                               const uint32_t *vertex_of, const uint32_t *parent, uint32_t *head,
                               struct job *job);

void guard_release(struct guard *guard);

/* Whether the samples stay near. */
bool guard_allows(struct guard *guard, const struct patch *patch, const struct star *star);

/* After the collapse: hands the samples to the triangles they lie on now. */
void guard_follow(struct guard *guard, struct patch *patch, const struct star *star);

#endif
