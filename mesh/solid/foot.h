/* What a body stands on, seen from above: the convex outline of its points on the floor. */
#ifndef FETTLE_SOLID_FOOT_H
#define FETTLE_SOLID_FOOT_H

#include <stddef.h>

/* The convex outline of the points, which it sorts: its corners counter-clockwise, without those on
 * a side, into `corner` (room for 2 * count; apart from `at`). Returns how many: 2 for points on a
 * line, 1 in one place. Exact (Andrew 1979). */
size_t foot_outline(double (*at)[2], size_t count, double (*corner)[2]);

double foot_area(const double (*corner)[2], size_t count); /* mm2 */

/* How far (x, y) lies inside of the outline, mm: the distance to the nearest side's line; negative
 * outside. Never more than 0 of one with fewer than 3 corners: nothing stands on a line. */
double foot_margin(const double (*corner)[2], size_t count, double x, double y);

#endif
