/* The nth smallest of some numbers: medians, quantiles. */
#ifndef FETTLE_CORE_NTH_H
#define FETTLE_CORE_NTH_H

#include <stddef.h>

/* The nth smallest of the numbers, counted from 0 (n < count); none may be NaN. They are left in
 * another order. Linear on average (Hoare 1961), and the same on every machine. */
double nth_smallest(double *number, size_t count, size_t n);

#endif
