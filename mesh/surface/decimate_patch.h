/* A patch: the part of a mesh that one thread decimates at a time, small enough for its cache.
 *
 * Half-edge h = 4 * triangle + k (k = 0, 1, 2) runs from corner k to corner k+1. An edge's cost is
 * kept at the smaller of its half-edges.
 *
 * The cost of an edge is what its collapse would do to the surface as it is now (memoryless:
 * Lindstrom & Turk 1998, "Fast and memory efficient polygonal simplification"), measured by
 * quadrics (Garland & Heckbert 1997, "Surface simplification using quadric error metrics"): each
 * vertex has the sum over its triangles of area times squared distance from the triangle's plane.
 * As all those planes pass through the vertex itself, six numbers are the whole quadric, and in
 * the vertex's own frame nothing cancels. An edge's quadric is the sum of its ends'. A vertex of
 * the rim adds, for its two rim edges, length squared times squared distance from the edge's line.
 *
 * Triangles of flat places (decimate_flat.h) count FLAT_WEIGHT times, and what is to stay in their
 * planes is put there exactly.
 *
 * There is no queue: edges are collapsed in sweeps over the patch, each edge that costs less than
 * a threshold in the order it lies in memory, and the threshold rises from sweep to sweep.
 *
 * Measured on 100 000 triangles of a noisy scan to 10 %, RMS both ways, before any fitting:
 * memoryless 0.0252 mm, quadrics added up from the original 0.0320; squared areas as weights
 * (Lindstrom & Turk) 0.0256; with the volume kept by a constraint 0.0252; counting the two
 * triangles of the edge once instead of twice 0.0254; by a queue in exact order 0.0252, in sweeps
 * that rise by 1.1, 1.3, 1.6, 2, 4: 0.0249, 0.0251, 0.0253, 0.0257, 0.0271. */
#ifndef FETTLE_SURFACE_DECIMATE_PATCH_H
#define FETTLE_SURFACE_DECIMATE_PATCH_H

#include "surface/decimate_flat.h"
#include "surface/decimate_tint.h"

enum mobility {
    MOVES,  /* anywhere */
    RIM,    /* on the boundary: goes along it */
    PINNED, /* others may be merged into it; it stays */
    LOCKED, /* neither it nor its triangles change: non-manifold, or shared with another patch */
    GONE    /* merged into another: the node's `half` says which */
};

struct node {
    float at[3];
    uint32_t half;   /* a half-edge leaving it; at the rim the one without a twin */
    double plane[6]; /* xx xy xz yy yz zz */
};

struct patch {
    size_t vertices, triangles; /* as built */
    size_t left;                /* triangles that are still there */
    double unit;                /* by which costs (mm^4) are multiplied: keeps them within floats */
    uint32_t *corner;           /* 4 t + k: vertex, all NO_INDEX once the triangle is gone;
                                   4 t + 3: the guard's, or NO_INDEX */
    void *work;                 /* holds what sweeps alone need: twin, cost and stamp */
    uint32_t *twin;             /* 4 t + k: the half-edge across, or NO_INDEX */
    float *cost;                /* 4 t + k; INFINITY where there is none; 4 t + 3: the least */
    struct node *node;
    uint8_t *mobility;
    uint32_t *vertex_id;       /* the caller's number of each vertex */
    uint32_t *stamp, stamps;   /* scratch of the link test */
    const struct flats *flats; /* of the original */
    uint16_t *flat;            /* one a triangle: which of them it is part of, or 0; NULL: all 0 */
    struct tint *tint;         /* one a vertex; NULL: colour does not count */
    double contrast;           /* what a colour error of 1 (black to white) counts as, mm2 */
    struct guard *guard;       /* asked before each collapse; NULL: none */
    const struct judge *judge; /* asked then, too; NULL: none */
    struct trail_part *trail;  /* told of each collapse; NULL: nobody is */
};

/* Finishes a patch whose vertices, triangles, unit, corner[], node[].at, mobility[] and vertex_id[]
 * the caller has filled in (allocated by scratch_new; mobility is MOVES or LOCKED): pairs the
 * half-edges, finds the rim and what is not manifold (LOCKED), and computes all costs. With
 * keep_rim the rim is PINNED. False when out of memory. Patches are released by patch_release
 * whatever happened. */
bool patch_build(struct patch *patch, bool keep_rim);
void patch_release(struct patch *patch);

/* After the last sweep: gives back what nobody needs any more to take over what was done. */
void patch_finish(struct patch *patch);

/* Collapses edges that cost less than `below` until at most `most` triangles are gone; returns how
 * many are. (A collapse takes two triangles, at the rim one.) */
size_t patch_sweep(struct patch *patch, float below, size_t most);

/* Counts the triangles whose least cost is in each slot (see cost_slot), or less than `below`. */
enum { COST_SLOTS = 2048 };
void patch_histogram(const struct patch *patch, uint32_t *slots);
size_t patch_count(const struct patch *patch, float below);

/* --- walking it */

static inline uint32_t edge_after(uint32_t h)
{
    return (h & 3) == 2 ? h - 2 : h + 1;
}

static inline uint32_t edge_before(uint32_t h)
{
    return (h & 3) == 0 ? h + 2 : h - 1;
}

static inline uint32_t edge_from(const struct patch *p, uint32_t h)
{
    return p->corner[h];
}

static inline uint32_t edge_to(const struct patch *p, uint32_t h)
{
    return p->corner[edge_after(h)];
}

/* The next half-edge leaving the same vertex, or NO_INDEX at the end of a rim vertex's fan. */
static inline uint32_t edge_around(const struct patch *p, uint32_t h)
{
    return p->twin[edge_before(h)];
}

/* The half-edge that keeps the cost. */
static inline uint32_t edge_keeper(const struct patch *p, uint32_t h)
{
    return h < p->twin[h] ? h : p->twin[h];
}

static inline struct vec node_at(const struct patch *p, uint32_t v)
{
    const float *a = p->node[v].at;
    return vec(a[0], a[1], a[2]);
}

/* Which flat place the triangle of a half-edge is part of, from 1; 0: none. */
static inline uint16_t edge_flat(const struct patch *p, uint32_t h)
{
    return p->flat ? p->flat[h >> 2] : 0;
}

/* Sets the cost of the edge that h keeps, and the least of its triangle's. */
static inline void edge_set_cost(struct patch *p, uint32_t h, float cost)
{
    float *c = p->cost + (h & ~3u);
    c[h & 3] = cost;
    float least = c[0] < c[1] ? c[0] : c[1];
    c[3] = c[2] < least ? c[2] : least;
}

/* The slot of a cost (eight an octave) and the least cost of a slot. */
static inline unsigned cost_slot(float cost)
{
    union {
        float f;
        uint32_t u;
    } bits = {.f = cost};
    return bits.u >> 20;
}
static inline float slot_cost(unsigned slot)
{
    union {
        uint32_t u;
        float f;
    } bits = {.u = (uint32_t)slot << 20};
    return bits.f;
}

#endif
