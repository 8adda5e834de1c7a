/* Exact points: where edges meet planes, and three planes each other.
 *
 * Positions lie on a grid of whole numbers of 41 bits with sign, fine enough that a float of more
 * than a hundred-thousandth of the largest keeps all its bits; smaller ones are rounded there by
 * a part in 10^12 of the mesh's size. A point that is computed is kept as four whole numbers
 * (x, y, z and the denominator) of at most 294 bits, so that nothing is ever rounded, and beside
 * them as fixed-point numbers that decide nearly all predicates at once. The same point has the
 * same number however it came about (after Cherchi, Livesu, Scateni & Attene 2020, "Fast and Robust
 * Mesh Arrangements using Floating-point Arithmetic", whose points are implicit). */
#ifndef FETTLE_SOLID_SPOTS_H
#define FETTLE_SOLID_SPOTS_H

#include "core/big.h"
#include "solid/pile.h"

enum { SPOT_FRACTION = 16 }; /* bits after the point of q */

struct plane { /* normal . x = offset; 84 and 126 bits */
    wide normal[3], offset;
};

struct spot {
    int64_t q[3];   /* floor(2^SPOT_FRACTION * coordinate), in grid units */
    uint32_t exact; /* into the piles of exact numbers; NO_INDEX: q is exact */
    uint32_t next;  /* another of the same hash */
};

struct spots {
    int shift; /* grid units are 2^-shift mm */
    struct pile spot, exact;
    struct lookup at;
};

/* The grid of a mesh. Nothing is allocated yet. */
void spots_init(struct spots *spots, const struct mesh *mesh);
void spots_release(struct spots *spots);

/* A position on the grid, and a spot's place in mm. */
void spots_grid(const struct spots *spots, struct point p, int64_t grid[3]);
struct vec spots_place(const struct spots *spots, uint32_t spot);

static inline const struct spot *spot_at(const struct spots *spots, uint32_t i)
{
    return PILE(spots->spot, struct spot) + i;
}

/* The plane through three grid points, its normal as they run counter-clockwise; zeros when they
 * are on a line. And that through two of them along an axis. */
struct plane plane_through(const int64_t a[3], const int64_t b[3], const int64_t c[3]);
struct plane plane_upright(const int64_t a[3], const int64_t b[3], int axis);

/* Which side of the plane a grid point is on: 1 where the normal points. */
int plane_side(const struct plane *plane, const int64_t p[3]);

/* Each false when there is no memory; *number is the spot's. `alone` never meets others: a corner
 * of the frame around a net. */
bool spots_vertex(struct spots *spots, const int64_t p[3], bool alone, uint32_t *number);
/* Where the line u v, which is not parallel to it, meets the plane. */
bool spots_line(struct spots *spots, const int64_t u[3], const int64_t v[3],
                const struct plane *plane, uint32_t *number);
/* Where three planes meet, in one point. */
bool spots_planes(struct spots *spots, const struct plane *a, const struct plane *b,
                  const struct plane *c, uint32_t *number);

/* The sign of the turn a b c seen against the axis that is left out (see spots_axes). */
int spots_turn(const struct spots *spots, uint32_t a, uint32_t b, uint32_t c, int dropped);
/* The sign of a's coordinate less b's. */
int spots_order(const struct spots *spots, uint32_t a, uint32_t b, int axis);

/* The axes that stay when one is dropped, in the order that keeps turns: y z, z x or x y. */
static inline int axis_u(int dropped)
{
    return (dropped + 1) % 3;
}
static inline int axis_v(int dropped)
{
    return (dropped + 2) % 3;
}

#endif
