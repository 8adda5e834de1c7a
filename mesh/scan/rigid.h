/* Rigid motions: turned, then shifted. */
#ifndef FETTLE_SCAN_RIGID_H
#define FETTLE_SCAN_RIGID_H

#include "core/vec.h"

struct rigid { /* x becomes turn x + shift; the turn is orthonormal and right-handed */
    double turn[3][3];
    struct vec shift;
};

static inline struct rigid rigid_rest(void)
{
    return (struct rigid){{{1, 0, 0}, {0, 1, 0}, {0, 0, 1}}, {0, 0, 0}};
}
static inline struct vec rigid_direction(const struct rigid *rigid, struct vec a)
{
    const double(*m)[3] = rigid->turn;
    return vec(m[0][0] * a.x + m[0][1] * a.y + m[0][2] * a.z,
               m[1][0] * a.x + m[1][1] * a.y + m[1][2] * a.z,
               m[2][0] * a.x + m[2][1] * a.y + m[2][2] * a.z);
}
static inline struct vec rigid_apply(const struct rigid *rigid, struct vec a)
{
    return vec_add(rigid_direction(rigid, a), rigid->shift);
}

/* The motion that does `first`, then `then`. */
struct rigid rigid_then(const struct rigid *first, const struct rigid *then);
struct rigid rigid_inverse(const struct rigid *rigid);

/* The motion between two pieces' own coordinates as one of the world: zero of the moving one's is
 * at `moving` in the world, zero of the other's at `fixed`. */
struct rigid rigid_in_world(const struct rigid *rigid, struct vec moving, struct vec fixed);

/* The turn by |a| radians about a through zero (none: rest). */
struct rigid rigid_turn(struct vec a);

/* The same motion with the turn made orthonormal again after many steps. */
struct rigid rigid_tidy(const struct rigid *rigid);

/* By what angle (radians, 0 to pi) the turns differ. */
double rigid_angle(const struct rigid *a, const struct rigid *b);

/* The motion that takes the frame (along, across, up: a right-handed orthonormal one, at `from`)
 * to the other frame at `to`. */
struct frame {
    struct vec at, axis[3];
};
struct rigid rigid_between(const struct frame *from, const struct frame *to);

#endif
