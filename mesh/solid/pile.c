#include "solid/pile.h"

void *pile_next(struct pile *pile, size_t size)
{
    if (pile->count == pile->room) {
        size_t room = 2 * pile->room + 64;
        void *grown = scratch_new(room, size);
        if (!grown)
            return NULL;
        if (pile->count)
            memcpy(grown, pile->data, pile->count * size);
        scratch_free(pile->data);
        pile->data = grown;
        pile->room = room;
    }
    return (char *)pile->data + pile->count * size;
}

void pile_release(struct pile *pile)
{
    scratch_free(pile->data);
    *pile = (struct pile){0};
}

static size_t lookup_slot(const struct lookup *lookup, uint64_t one, uint64_t two)
{
    uint64_t hash = (one * 0x9E3779B97F4A7C15u) ^ (two * 0xC2B2AE3D27D4EB4Fu);
    hash = (hash ^ hash >> 29) * 0xBF58476D1CE4E5B9u;
    size_t i = (size_t)((hash >> 32) * lookup->room >> 32);
    while (lookup->value[i] != NO_INDEX && (lookup->key[i][0] != one || lookup->key[i][1] != two))
        i = i + 1 < lookup->room ? i + 1 : 0;
    return i;
}

static bool lookup_grow(struct lookup *lookup)
{
    struct lookup grown = {.room = 3 * lookup->room + 64, .count = lookup->count};
    grown.key = scratch_new(grown.room, sizeof *grown.key);
    grown.value = scratch_new(grown.room, sizeof *grown.value);
    if (!grown.key || !grown.value) {
        lookup_release(&grown);
        return false;
    }
    memset(grown.value, 255, grown.room * sizeof *grown.value);
    for (size_t i = 0; i < lookup->room; i++) {
        if (lookup->value[i] == NO_INDEX)
            continue;
        size_t to = lookup_slot(&grown, lookup->key[i][0], lookup->key[i][1]);
        memcpy(grown.key[to], lookup->key[i], sizeof *grown.key);
        grown.value[to] = lookup->value[i];
    }
    lookup_release(lookup);
    *lookup = grown;
    return true;
}

uint32_t *lookup_at(struct lookup *lookup, uint64_t one, uint64_t two)
{
    if (2 * lookup->count >= lookup->room && !lookup_grow(lookup))
        return NULL;
    size_t i = lookup_slot(lookup, one, two);
    if (lookup->value[i] == NO_INDEX) { /* the caller fills it */
        lookup->key[i][0] = one;
        lookup->key[i][1] = two;
        lookup->count++;
    }
    return &lookup->value[i];
}

uint32_t lookup_find(const struct lookup *lookup, uint64_t one, uint64_t two)
{
    return lookup->room ? lookup->value[lookup_slot(lookup, one, two)] : NO_INDEX;
}

void lookup_release(struct lookup *lookup)
{
    scratch_free(lookup->key);
    scratch_free(lookup->value);
    *lookup = (struct lookup){0};
}
