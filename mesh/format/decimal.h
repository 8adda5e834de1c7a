/* Decimal numbers in and out: fast, correctly rounded, and the same in every locale. */
#ifndef FETTLE_FORMAT_DECIMAL_H
#define FETTLE_FORMAT_DECIMAL_H

#include <stddef.h>
#include <stdint.h>

enum { DECIMAL_MOST = 40 }; /* bytes a number takes at most when written */

/* Reads a decimal number (also inf, nan, with a sign) that begins exactly at `at`; `point` is its
 * decimal sign. Returns where it ends, or NULL when there is none. */
const char *decimal_read(const char *at, const char *end, char point, double *out);

/* Reads a whole number; values beyond +-4e18 are held there. NULL when there is none. */
const char *decimal_whole(const char *at, const char *end, int64_t *out);

/* Each writes at `at` without a final NUL and returns the end. */

/* The shortest decimal that reads back to the same float. -0 is written 0. */
char *decimal_float(char *at, float value);

/* A decimal of which origin can be taken away again: (float)(read - origin) == point. */
char *decimal_sum(char *at, double origin, float point);

char *decimal_count(char *at, uint64_t value);

#endif
