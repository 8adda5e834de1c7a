/* Growing lists, and a table from two words to a number. */
#ifndef FETTLE_SOLID_PILE_H
#define FETTLE_SOLID_PILE_H

#include <stdlib.h>
#include <string.h>

#include "core/mesh.h"

struct pile {
    void *data;
    size_t count, room;
};

/* Room for one more element of `size` bytes, not yet counted; NULL when there is no memory. */
void *pile_next(struct pile *pile, size_t size);
void pile_release(struct pile *pile);

struct lookup { /* from two words to a number; NO_INDEX: not there */
    uint64_t (*key)[2];
    uint32_t *value;
    size_t count, room;
};

/* Where the value of the key stands (NO_INDEX when it is new); NULL when there is no memory. */
uint32_t *lookup_at(struct lookup *table, uint64_t one, uint64_t two);
uint32_t lookup_find(const struct lookup *table, uint64_t one, uint64_t two);
void lookup_release(struct lookup *table);

#define PILE(pile, type) ((type *)(pile).data)

#endif
