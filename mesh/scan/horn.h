/* The best rigid motion between point pairs, in closed form. */
#ifndef FETTLE_SCAN_HORN_H
#define FETTLE_SCAN_HORN_H

#include <stdbool.h>
#include <stddef.h>

#include "scan/rigid.h"

struct horn {
    struct rigid motion; /* of the first points of the pairs onto the second */
    double scale;        /* by which the second are larger than the first; not applied */
    double spread[2];    /* mm: how far the first (the second) stand off their best line (RMS) */
    double size;         /* mm: how far the first stand off their middle (RMS) */
    double rms;          /* mm: of what is left between the pairs */
    double mirrored_rms; /* mm: what would be left if the motion could mirror */
};

/* Least sum of squares between motion(from[i]) and to[i] over rotations and shifts, each pair
 * counted `weight` times (NULL: once): B. K. P. Horn, "Closed-form solution of absolute orientation
 * using unit quaternions", Journal of the Optical Society of America A 4 (1987); the scale is his
 * symmetric one. False when there are fewer than three pairs, or the points of one side lie on a
 * line (spread below a thousandth of the size) or are not finite: `out` then holds only the
 * spreads. */
bool horn_solve(const struct vec *from, const struct vec *to, const double *weight, size_t count,
                struct horn *out);

#endif
