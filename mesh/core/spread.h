/* Colours given on from what has one to what has none. */
#ifndef FETTLE_CORE_SPREAD_H
#define FETTLE_CORE_SPREAD_H

#include <stddef.h>
#include <stdint.h>

#include "core/status.h"

struct job;

/* Who is beside whom: those beside v are beside[first[v]] to beside[first[v + 1] - 1], or, where
 * first is NULL, the `each` from beside[v * each] on. Entries of NO_INDEX are nobody; one that
 * stands there twice counts twice. If v is beside w, w must be beside v where neither is known. */
struct spread_graph {
    size_t count;
    const size_t *first;
    size_t each;
    const uint32_t *beside;
};

/* Gives those with known[v] == 0 the colours of what is nearest to them along the graph, mixed
 * where several are as near, and then softened: known[v] becomes 1 for all that are reached, the
 * others keep their colour. Colours are red, green, blue, opacity. */
enum status spread_colours(const struct spread_graph *graph, uint8_t *known, uint8_t (*colour)[4],
                           struct job *job);

#endif
