/* Whole numbers of a thousand bits, for predicates on points that are themselves computed: where
 * three planes meet, say. Sizes are bounded by how a caller uses them; nothing is allocated. */
#ifndef FETTLE_CORE_BIG_H
#define FETTLE_CORE_BIG_H

#include <stdint.h>

__extension__ typedef __int128 wide;
__extension__ typedef unsigned __int128 unsigned_wide;

enum { BIG_LIMBS = 16 }; /* 1024 bits; a result that needs more is asserted against */

struct big {
    int sign; /* -1, 0, 1 */
    int limbs;
    uint64_t limb[BIG_LIMBS]; /* the lowest first; only the first `limbs` mean anything */
};

struct big big_of(wide value);
struct big big_add(const struct big *a, const struct big *b);
struct big big_sub(const struct big *a, const struct big *b);
struct big big_mul(const struct big *a, const struct big *b);

/* The greatest whole number not above n * 2^shift / d; d > 0, and the result must fit. */
int64_t big_floor(const struct big *n, const struct big *d, int shift);

#endif
