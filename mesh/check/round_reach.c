#include <stdlib.h>
#include <string.h>

#include "check/round_parts.h"

enum { LEAST_BITS = 8 };

static void new_stamp(struct reach *reach)
{
    if (++reach->stamp != 0)
        return;
    memset(reach->slot, 0, reach->slots * sizeof *reach->slot);
    reach->stamp = 1;
}

static bool make_slots(struct reach *reach, unsigned bits)
{
    if ((size_t)1 << bits > reach->slots) {
        uint64_t *slot = calloc((size_t)1 << bits, sizeof *slot);
        if (!slot)
            return false;
        free(reach->slot);
        reach->slot = slot;
        reach->slots = (size_t)1 << bits;
    }
    reach->bits = bits;
    new_stamp(reach);
    return true;
}

static bool make_items(struct reach *reach)
{
    size_t room = 2 * reach->room + 1024;
    uint32_t *item = realloc(reach->item, room * sizeof *item);
    if (!item)
        return false;
    reach->item = item;
    reach->room = room;
    return true;
}

bool reach_clear(struct reach *reach)
{
    reach->count = 0;
    return make_slots(reach, LEAST_BITS);
}

bool reach_widen(struct reach *reach)
{
    if (reach->count == reach->room && !make_items(reach))
        return false;
    if (2 * reach->count < (size_t)1 << reach->bits)
        return true;
    if (!make_slots(reach, reach->bits + 1))
        return false;
    for (size_t i = 0; i < reach->count; i++)
        reach->slot[reach_slot(reach, reach->item[i])] =
            (uint64_t)reach->stamp << 32 | reach->item[i];
    return true;
}

void reach_release(struct reach *reach)
{
    free(reach->item);
    free(reach->slot);
    *reach = (struct reach){0};
}
