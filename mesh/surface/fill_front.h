/* The dense kernel of the sparse solver. */
#ifndef FETTLE_SURFACE_FILL_FRONT_H
#define FETTLE_SURFACE_FILL_FRONT_H

#include "core/status.h"

#include <stddef.h>

struct job;

/* Partial Cholesky factorisation of the symmetric size x size matrix whose lower triangle is given
 * row by row: the first `own` columns become those of the factor, the rest what is left of the
 * matrix when these unknowns are eliminated. STATUS_REFUSED when a pivot is lost to rounding (the
 * matrix is not positive definite); STATUS_CANCELLED. */
enum status front_factor(double *front, size_t size, size_t own, const struct job *job);

#endif
