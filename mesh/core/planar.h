/* A tree of boxes over points or edges in a plane, whose items can be put out one by one. */
#ifndef FETTLE_CORE_PLANAR_H
#define FETTLE_CORE_PLANAR_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct planar_box {
    double low[2], high[2];
};

struct planar {
    size_t count, leaves;   /* items; leaves: a power of two */
    uint32_t *item;         /* in the order of the leaves */
    uint32_t *leaf;         /* one an item: its leaf */
    struct planar_box *box; /* 2 * leaves: node 1 is the root, the children of k are 2k, 2k + 1 */
    uint32_t *live;         /* one a node: items below it that are lit */
};

/* Builds the tree over the boxes low[i] .. high[i] (the same array twice for points); all items are
 * lit. False when out of memory; nothing is owned then. */
bool planar_make(struct planar *tree, const double (*low)[2], const double (*high)[2],
                 size_t count);
void planar_release(struct planar *tree);

/* Lights an item or puts it out (by = 1 or -1); the caller sees to it that it was not so before. */
void planar_light(struct planar *tree, uint32_t item, int by);

/* Goes down to every leaf whose boxes `reach` lets pass and that has lit items, and calls `visit`
 * for all its items, also those put out, until it returns false. */
void planar_walk(const struct planar *tree,
                 bool (*reach)(const struct planar_box *box, const void *context),
                 bool (*visit)(uint32_t item, void *context), void *context);

#endif
