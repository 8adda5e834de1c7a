/* The edges there are between points: a hash table with open addressing. */
#include <string.h>

#include "core/contour_parts.h"

enum { SLOTS_A_NODE = 8 };
#define EMPTY UINT64_MAX
#define GONE (1ull << 63) /* the edge was there once */

bool edge_set_make(struct edge_set *set, size_t nodes)
{
    *set = (struct edge_set){.capacity = SLOTS_A_NODE * nodes};
    set->slot = scratch_new(set->capacity, sizeof *set->slot);
    if (!set->slot)
        return false;
    memset(set->slot, 255, set->capacity * sizeof *set->slot);
    return true;
}

void edge_set_release(struct edge_set *set)
{
    scratch_free(set->slot);
    *set = (struct edge_set){0};
}

static uint64_t *find(const struct edge_set *set, uint32_t a, uint32_t b)
{
    uint64_t key = a < b ? (uint64_t)a << 32 | b : (uint64_t)b << 32 | a;
    uint64_t hash = key * 0x9E3779B97F4A7C15u;
    size_t i = (size_t)((hash >> 32) * set->capacity >> 32);
    while (set->slot[i] != EMPTY && (set->slot[i] & ~GONE) != key)
        i = i + 1 < set->capacity ? i + 1 : 0;
    return &set->slot[i];
}

bool edge_set_holds(const struct edge_set *set, uint32_t a, uint32_t b)
{
    return !(*find(set, a, b) & GONE);
}

void edge_set_add(struct edge_set *set, uint32_t a, uint32_t b)
{
    uint64_t *slot = find(set, a, b);
    set->used += *slot == EMPTY;
    *slot = a < b ? (uint64_t)a << 32 | b : (uint64_t)b << 32 | a;
}

void edge_set_remove(struct edge_set *set, uint32_t a, uint32_t b)
{
    uint64_t *slot = find(set, a, b);
    if (*slot != EMPTY)
        *slot |= GONE;
}

bool edge_set_full(const struct edge_set *set)
{
    return set->used > set->capacity / 4 * 3;
}
