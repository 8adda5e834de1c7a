/* Disjoint sets (Tarjan 1975) in an array that starts as set[i] = i; each is known by its lowest
 * member. For one thread; components.c has its own, for many. */
#ifndef FETTLE_CORE_SETS_H
#define FETTLE_CORE_SETS_H

#include <stdint.h>

static inline uint32_t sets_find(uint32_t *set, uint32_t i)
{
    while (set[i] != i) {
        set[i] = set[set[i]];
        i = set[i];
    }
    return i;
}

static inline void sets_unite(uint32_t *set, uint32_t i, uint32_t j)
{
    i = sets_find(set, i);
    j = sets_find(set, j);
    if (i < j)
        set[j] = i;
    else
        set[i] = j;
}

#endif
