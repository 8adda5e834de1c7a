#include "surface/fill_pairs.h"

#include <stdlib.h>

#define GONE UINT64_MAX

static uint64_t key_of(uint32_t a, uint32_t b)
{
    uint64_t low = a < b ? a : b, high = a < b ? b : a;
    return (high << 32 | low) + 1;
}

static size_t slot_of(const struct pairs *pairs, uint64_t key)
{
    size_t mask = pairs->room - 1, i = (size_t)(key * UINT64_C(0x9E3779B97F4A7C15) >> 20) & mask;
    while (pairs->key[i] != 0 && pairs->key[i] != key)
        i = (i + 1) & mask;
    return i;
}

static bool grow(struct pairs *pairs)
{
    struct pairs wider = {.room = pairs->room ? 2 * pairs->room : 64};
    wider.key = calloc(wider.room, sizeof *wider.key);
    if (!wider.key)
        return false;
    for (size_t i = 0; i < pairs->room; i++)
        if (pairs->key[i] != 0 && pairs->key[i] != GONE) {
            wider.key[slot_of(&wider, pairs->key[i])] = pairs->key[i];
            wider.used++;
        }
    free(pairs->key);
    *pairs = wider;
    return true;
}

bool pairs_add(struct pairs *pairs, uint32_t a, uint32_t b)
{
    if (2 * (pairs->used + 1) > pairs->room && !grow(pairs))
        return false;
    size_t i = slot_of(pairs, key_of(a, b));
    pairs->used += pairs->key[i] == 0;
    pairs->key[i] = key_of(a, b);
    return true;
}

bool pairs_have(const struct pairs *pairs, uint32_t a, uint32_t b)
{
    return pairs->room && pairs->key[slot_of(pairs, key_of(a, b))] != 0;
}

void pairs_remove(struct pairs *pairs, uint32_t a, uint32_t b)
{
    if (!pairs->room)
        return;
    size_t i = slot_of(pairs, key_of(a, b));
    if (pairs->key[i] != 0)
        pairs->key[i] = GONE;
}

void pairs_release(struct pairs *pairs)
{
    free(pairs->key);
    *pairs = (struct pairs){0};
}
