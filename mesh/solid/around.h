/* Exact directions around a line. */
#ifndef FETTLE_SOLID_AROUND_H
#define FETTLE_SOLID_AROUND_H

#include <stdbool.h>

#include "core/vec.h"

/* The coordinate in which the vector is longest. */
static inline int largest_part(struct vec a)
{
    double x = fabs(a.x), y = fabs(a.y), z = fabs(a.z);
    return x > y ? (x > z ? 0 : 2) : (y > z ? 1 : 2);
}

/* The coordinate without which the triangle has most area, and whether it then runs
 * counter-clockwise (1) or clockwise (-1) in the others in their order; 0: it has none. */
int flat_way(const struct vec t[3], int *dropped);
void flatten(struct vec p, int dropped, double flat[2]);
int flat_turn(struct vec a, struct vec b, struct vec c, int dropped);

struct axis {
    struct vec from, to;
};

enum { SAME, BEFORE_HALF, HALF, PAST_HALF };

/* How far one turns from r to p, the positive way round the axis. */
int around_turned(const struct axis *a, struct vec r, struct vec p);

/* Whether one meets p before q, turning from r. None of them are in the same direction. */
bool around_sooner(const struct axis *a, struct vec r, struct vec p, struct vec q);

#endif
