/* What the files that find round walls share. */
#ifndef FETTLE_CHECK_ROUND_PARTS_H
#define FETTLE_CHECK_ROUND_PARTS_H

#include "check/round.h"
#include "core/job.h"

/* --- how faces lie to their neighbours: once for all who ask (round_folds.c) ------------------ */

struct facing {      /* of a triangle */
    float normal[3]; /* unit; zero when it has none */
    float area;      /* mm2; 0: too thin for its normal to be believed */
};

enum fold {             /* how the surface goes on across a side of a face */
            FOLD_STOPS, /* it bends away from the outside, or there is no face */
            FOLD_ON,    /* straight on, or nobody knows: one of the two is too thin */
            FOLD_BENDS, /* towards the outside, as two facets of a hollow wall do */
            FOLD_DEEP   /* so too, but more than those do */
};
enum { FOLD_BITS = 2, FOLD_MASK = 3 };

struct folds {
    const struct mesh *mesh;
    const struct topology *topology;
    struct facing *face; /* one a triangle */
    uint8_t *fold;       /* one a triangle: enum fold of its sides, FOLD_BITS each; of two
                            that are one edge the first half-edge has it */
};

/* The caller releases them, also on failure. */
enum status folds_init(struct folds *folds, const struct rounds *rounds, struct job *job);
void folds_release(struct folds *folds);

/* Across a side: half-edge h, and what half_across says of it. */
static inline enum fold fold_at(const struct folds *folds, uint32_t h, uint32_t across)
{
    uint32_t kept = h < across ? h : across;
    return (enum fold)(folds->fold[kept / 3] >> kept % 3 * FOLD_BITS & FOLD_MASK);
}

/* Whether a wall may go on across such a side: straight on, or bending towards its axis. */
static inline bool fold_goes_on(enum fold fold)
{
    return fold == FOLD_ON || fold == FOLD_BENDS;
}

static inline struct vec facing_normal(const struct facing *face)
{
    return vec(face->normal[0], face->normal[1], face->normal[2]);
}

static inline bool facing_sure(const struct facing *face)
{
    return face->area > 0;
}

/* --- compact parts of the surface, for threads of their own (round_districts.c) --------------- */

struct districts { /* which they are depends on the mesh alone */
    uint16_t *of;  /* one a triangle: its district */
    size_t count;
    uint32_t *triangle; /* those of district i: triangle[start[i]] to triangle[start[i + 1] - 1], */
    uint32_t *start;    /* ascending */
};

/* The caller releases them, also on failure. */
enum status districts_init(struct districts *d, const struct folds *folds, struct job *job);
void districts_release(struct districts *d);

/* --- triangles that were reached from one (round_reach.c) ------------------------------------- */

struct reach {
    uint32_t *item; /* in the order in which they were reached */
    size_t count, room;
    uint64_t *slot; /* the same, to look them up: stamp << 32 | triangle */
    unsigned bits;  /* 1 << bits slots are in use now, */
    size_t slots;   /* of so many */
    uint32_t stamp; /* slots with another one are empty */
};

/* Before the first use, too. False: there is no memory. */
bool reach_clear(struct reach *reach);
/* Room for one more. False: there is no memory. */
bool reach_widen(struct reach *reach);
void reach_release(struct reach *reach);

/* Where it is in the slots, or where it would come: Fibonacci hashing, then the next ones. */
static inline size_t reach_slot(const struct reach *reach, uint32_t triangle)
{
    size_t last = ((size_t)1 << reach->bits) - 1;
    size_t at = (triangle * UINT32_C(2654435769)) >> (32 - reach->bits);
    while (reach->slot[at] >> 32 == reach->stamp && (uint32_t)reach->slot[at] != triangle)
        at = (at + 1) & last;
    return at;
}

static inline bool reach_has(const struct reach *reach, uint32_t triangle)
{
    return reach->slot[reach_slot(reach, triangle)] >> 32 == reach->stamp;
}

/* One that it has not. False: there is no memory. */
static inline bool reach_add(struct reach *reach, uint32_t triangle)
{
    if ((reach->count == reach->room || 2 * reach->count >= (size_t)1 << reach->bits) &&
        !reach_widen(reach))
        return false;
    reach->slot[reach_slot(reach, triangle)] = (uint64_t)reach->stamp << 32 | triangle;
    reach->item[reach->count++] = triangle;
    return true;
}

/* --- from a seed to a wall ------------------------------------------------------------------- */

/* Bits of a triangle's state, beside ROUND_INSIDE. */
enum {
    ROUND_CLAIMED = 4, /* belongs to a wall */
    ROUND_TRIED = 8,   /* nothing was found from there, or from others that see about the same */
    ROUND_TAKEN = 16   /* something was found from others that see about the same */
};

struct grower { /* one a thread */
    struct rounds *rounds;
    const struct folds *folds;
    const uint16_t *district; /* one a triangle; NULL: all are one */
    uint16_t own;             /* the one whose triangles' state it may read and write */
    struct reach reach;
    struct vec *point; /* ends of the edges between facets */
    size_t points, points_room;
    struct job *job;    /* of all: by scouts it is only asked for cancel */
    enum status status; /* the first failure */
};

enum { ROUND_NEAR = 32 }; /* triangles around a seed, which tell the axis */

struct around { /* what those tell */
    struct vec axis;
    double off;                /* sine by which normals are off the axis */
    bool turns;                /* there is an axis, about which they turn */
    bool sharp;                /* there are edges between */
    uint32_t like[ROUND_NEAR]; /* those that face about as the seed does: they see about the same */
    size_t likes;
};

/* How the faces near a seed lie (round_seed.c). False: a failure. */
bool seed_around(struct grower *g, uint32_t seed, struct around *out);

/* A first cylinder about an axis, from which normals are off by that sine; the seed looks inward:
 * through the edges between facets in a window around it. False: there is none, or a failure. */
bool seed_start(struct grower *g, uint32_t seed, struct vec axis, double off, struct cylinder *out);

/* Grows the wall from the seed and fits round->on in turn, until nothing more comes; leaves it in
 * g->reach (round_grow.c). False: it is none, or a failure; what can be no part of one is tried. */
bool round_grow(struct grower *g, uint32_t seed, struct round *round);

bool grower_add_points(struct grower *g, struct vec a, struct vec b);
/* Its reach: that one alone; one more, which it has not. False: there is no memory. */
bool grower_begin(struct grower *g, uint32_t triangle);
bool grower_add(struct grower *g, uint32_t triangle);
void grower_release(struct grower *g);

/* Sets those bits of triangles, as far as it may. */
void grower_mark(struct grower *g, const uint32_t *triangle, size_t count, uint8_t bits);

static inline bool grower_owns(const struct grower *g, uint32_t triangle)
{
    return !g->district || g->district[triangle] == g->own;
}

/* Whether it is as wide as a hole for a screw may be, `about`: times too large or small. */
bool cylinder_of_size(const struct cylinder *c, double about);

/* mm that what belongs to it may be off it. */
double cylinder_slack(const struct cylinder *c);

#endif
