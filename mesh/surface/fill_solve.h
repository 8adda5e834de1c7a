/* Sparse linear least squares: the equations behind fairing a filled hole and spreading colour
 * over it. */
#ifndef FETTLE_SURFACE_FILL_SOLVE_H
#define FETTLE_SURFACE_FILL_SOLVE_H

#include "core/status.h"
#include "core/vec.h"

#include <stddef.h>
#include <stdint.h>

struct job;

enum { SQUARES_COLUMNS_MOST = 8 };

/* Row r says: sum over its terms of factor * x[unknown] = right[r], as strongly as weight[r]. */
struct squares {
    size_t unknowns, rows;
    size_t columns;          /* right-hand sides solved together, 1 to SQUARES_COLUMNS_MOST */
    const uint32_t *start;   /* rows + 1: row r has the terms start[r] ... start[r + 1] - 1 */
    const uint32_t *unknown; /* one a term; no unknown twice in a row */
    const double *factor;    /* one a term */
    const double *weight;    /* one a row, positive */
    const double *right;     /* rows * columns */
    const struct vec *place; /* one an unknown: where it lies; unknowns in a row lie close together */
};

/* The x (unknowns * columns) with the least sum of weight * (left - right)^2. Same input, same
 * bytes. STATUS_REFUSED when the rows do not determine every unknown; STATUS_MEMORY;
 * STATUS_CANCELLED. Records no failure in the job (it may run beside others). */
enum status squares_solve(const struct squares *squares, double *x, const struct job *job);

#endif
