/* A set of edges, each a pair of vertices whichever way round. */
#ifndef FETTLE_SURFACE_FILL_PAIRS_H
#define FETTLE_SURFACE_FILL_PAIRS_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct pairs { /* zero it to begin with */
    uint64_t *key; /* open addressing; 0: free, UINT64_MAX: taken out */
    size_t room, used;
};

/* False when out of memory. A pair that is in already stays. */
bool pairs_add(struct pairs *pairs, uint32_t a, uint32_t b);
bool pairs_have(const struct pairs *pairs, uint32_t a, uint32_t b);
void pairs_remove(struct pairs *pairs, uint32_t a, uint32_t b);
void pairs_release(struct pairs *pairs);

#endif
