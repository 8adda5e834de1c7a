/* Inside the tree, for those who walk its nodes themselves (crossings do).
 *
 * A complete four-way tree without pointers: the items (triangles, or the points of a cloud) stand
 * in an order in which node i of level 0 has items 4 i .. 4 i + 3, and node i of level l > 0 has
 * the nodes 4 i .. 4 i + 3 of level l - 1 as children; the last node of a level may have fewer.
 * The top level has one node. A node keeps its children's boxes, rounded outward to whole steps of
 * a grid of its own: 64 bytes, 21.3 a triangle. */
#ifndef FETTLE_CORE_TREE_NODES_H
#define FETTLE_CORE_TREE_NODES_H

#include "core/lanes.h"
#include "core/tree.h"

enum {
    TREE_FAN = 4,
    TREE_LEVELS = 16, /* 4^16 items */
    TREE_BITS = 10,   /* of a box coordinate */
    TREE_MASK = (1 << TREE_BITS) - 1
};

/* Child c spans, on axis k, from low[k] + step * ((min[c] >> 10 k & 1023) - 1) to the same of max.
 * Boxes are at least a thousandth of a step wider than what they hold. */
struct tree_node { /* a cache line */
    float low[3];
    float step; /* a power of two */
    uint32_t min[TREE_FAN], max[TREE_FAN];
    uint32_t item[TREE_FAN]; /* of level 0: the triangles (or the points); else nothing */
};

struct tree {
    const struct point *point;
    const struct triangle *triangle; /* NULL for a cloud */
    uint32_t items;                  /* triangles, or points of a cloud */
    int levels;                      /* 0 when there are no items */
    struct tree_node *node;          /* level 0 first */
    uint32_t first[TREE_LEVELS + 1]; /* level l: node[first[l]] .. node[first[l + 1] - 1] */
};

/* How many nodes a level has; level -1: the items. */
static inline uint32_t tree_count(const struct tree *tree, int level)
{
    return level < 0 ? tree->items : tree->first[level + 1] - tree->first[level];
}

/* The triangle (or the point) at a place of the items' order. */
static inline uint32_t tree_item(const struct tree *tree, size_t place)
{
    return tree->node[place / TREE_FAN].item[place % TREE_FAN];
}

/* How many children node i of a level has. */
static inline unsigned tree_children(const struct tree *tree, int level, uint32_t i)
{
    uint32_t rest = tree_count(tree, level - 1) - TREE_FAN * i;
    return rest < TREE_FAN ? rest : TREE_FAN;
}

/* The children's boxes in steps of the node. */
struct tree_boxes {
    lanes min[3], max[3];
};

static inline struct tree_boxes tree_boxes(const struct tree_node *node)
{
    struct tree_boxes box;
    int_lanes a, b, mask = {TREE_MASK, TREE_MASK, TREE_MASK, TREE_MASK};
    memcpy(&a, node->min, sizeof a);
    memcpy(&b, node->max, sizeof b);
    box.min[0] = lanes_from(a & mask);
    box.min[1] = lanes_from(a >> TREE_BITS & mask);
    box.min[2] = lanes_from(a >> 2 * TREE_BITS);
    box.max[0] = lanes_from(b & mask);
    box.max[1] = lanes_from(b >> TREE_BITS & mask);
    box.max[2] = lanes_from(b >> 2 * TREE_BITS);
    return box;
}

/* 1 / step, exactly. */
static inline float tree_per_step(const struct tree_node *node)
{
    uint32_t bits;
    float per;
    memcpy(&bits, &node->step, sizeof bits);
    bits = (254u << 23) - bits;
    memcpy(&per, &bits, sizeof per);
    return per;
}

/* --- walking it -------------------------------------------------------------------------------- */

enum { TREE_STACK = (TREE_FAN - 1) * TREE_LEVELS + TREE_FAN }; /* each level leaves siblings behind */

struct tree_waiting { /* a node to be looked into */
    uint32_t node;
    int level;
    float near; /* a lower bound: squared distance, or distance along the ray */
};

/* Squared distances to the four children's boxes: lower bounds but for rounding, which the limit
 * and the width of the boxes allow for. */
static inline lanes tree_box_distances(const struct tree_node *node, const float from[3])
{
    struct tree_boxes box = tree_boxes(node);
    float per = tree_per_step(node);
    lanes sum = lanes_all(0), step = lanes_all(node->step);
    for (int k = 0; k < 3; k++) {
        lanes at = lanes_all((from[k] - node->low[k]) * per + 1);
        lanes out = lanes_max(lanes_max(box.min[k] - at, at - box.max[k]), lanes_all(0)) * step;
        sum += out * out;
    }
    return sum;
}

static inline unsigned tree_least_of(lanes value, unsigned among)
{
    unsigned least = (unsigned)__builtin_ctz(among);
    for (unsigned rest = among & (among - 1); rest; rest &= rest - 1) {
        unsigned c = (unsigned)__builtin_ctz(rest);
        least = value[c] < value[least] ? c : least;
    }
    return least;
}

/* Puts the children named by the bits of `among` on the stack; returns its new height. */
static inline int tree_keep_others(struct tree_waiting *stack, int top, unsigned among, lanes near, uint32_t child,
                       int level)
{
    for (; among; among &= among - 1) {
        unsigned c = (unsigned)__builtin_ctz(among);
        stack[top++] = (struct tree_waiting){child + c, level, near[c]};
    }
    return top;
}

#endif
