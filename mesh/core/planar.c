/* Items sorted along a Z-order curve (Morton 1966), a balanced binary tree over the sorted list. */
#include "core/planar.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "core/array.h"

enum { LEAF = 4 }; /* items a leaf, about */

struct placed {
    uint64_t code;
    uint32_t item;
};

/* The bits of x spread to every other place. */
static uint64_t spread(uint32_t x)
{
    uint64_t s = x;
    s = (s | s << 16) & 0x0000ffff0000ffffu;
    s = (s | s << 8) & 0x00ff00ff00ff00ffu;
    s = (s | s << 4) & 0x0f0f0f0f0f0f0f0fu;
    s = (s | s << 2) & 0x3333333333333333u;
    return (s | s << 1) & 0x5555555555555555u;
}

static struct planar_box nothing(void)
{
    return (struct planar_box){{INFINITY, INFINITY}, {-INFINITY, -INFINITY}};
}

static void include(struct planar_box *box, const double low[2], const double high[2])
{
    for (int k = 0; k < 2; k++) {
        box->low[k] = fmin(box->low[k], low[k]);
        box->high[k] = fmax(box->high[k], high[k]);
    }
}

static int placed_order(const void *x, const void *y)
{
    const struct placed *a = x, *b = y;
    if (a->code != b->code)
        return a->code < b->code ? -1 : 1;
    return a->item < b->item ? -1 : a->item > b->item;
}

static bool sort_items(struct planar *tree, const double (*low)[2], const double (*high)[2])
{
    struct placed *placed = scratch_new(tree->count, sizeof *placed);
    if (!placed)
        return false;
    struct planar_box all = nothing();
    for (size_t i = 0; i < tree->count; i++)
        include(&all, low[i], high[i]);
    double side = fmax(all.high[0] - all.low[0], all.high[1] - all.low[1]);
    double scale = side > 0 ? 4294967040.0 / side : 0;
    for (size_t i = 0; i < tree->count; i++) {
        uint32_t cell[2];
        for (int k = 0; k < 2; k++)
            cell[k] = (uint32_t)((0.5 * low[i][k] + 0.5 * high[i][k] - all.low[k]) * scale);
        placed[i] = (struct placed){spread(cell[0]) | spread(cell[1]) << 1, (uint32_t)i};
    }
    qsort(placed, tree->count, sizeof *placed, placed_order);
    for (size_t i = 0; i < tree->count; i++)
        tree->item[i] = placed[i].item;
    scratch_free(placed);
    return true;
}

/* Leaf l holds the items from leaf_start(l) to leaf_start(l + 1). */
static size_t leaf_start(const struct planar *tree, size_t leaf)
{
    return leaf * tree->count / tree->leaves;
}

static void build(struct planar *tree, const double (*low)[2], const double (*high)[2])
{
    for (size_t l = 0; l < tree->leaves; l++) {
        struct planar_box box = nothing();
        size_t from = leaf_start(tree, l), end = leaf_start(tree, l + 1);
        for (size_t i = from; i < end; i++) {
            tree->leaf[tree->item[i]] = (uint32_t)l;
            include(&box, low[tree->item[i]], high[tree->item[i]]);
        }
        tree->box[tree->leaves + l] = box;
        tree->live[tree->leaves + l] = (uint32_t)(end - from);
    }
    for (size_t k = tree->leaves - 1; k > 0; k--) {
        tree->box[k] = tree->box[2 * k];
        include(&tree->box[k], tree->box[2 * k + 1].low, tree->box[2 * k + 1].high);
        tree->live[k] = tree->live[2 * k] + tree->live[2 * k + 1];
    }
}

bool planar_make(struct planar *tree, const double (*low)[2], const double (*high)[2], size_t count)
{
    *tree = (struct planar){.count = count, .leaves = 1};
    while (tree->leaves * LEAF < count)
        tree->leaves *= 2;
    tree->item = scratch_new(count, sizeof *tree->item);
    tree->leaf = scratch_new(count, sizeof *tree->leaf);
    tree->box = scratch_new(2 * tree->leaves, sizeof *tree->box);
    tree->live = scratch_new(2 * tree->leaves, sizeof *tree->live);
    if (!tree->item || !tree->leaf || !tree->box || !tree->live || !sort_items(tree, low, high)) {
        planar_release(tree);
        return false;
    }
    build(tree, low, high);
    return true;
}

void planar_release(struct planar *tree)
{
    scratch_free(tree->item);
    scratch_free(tree->leaf);
    scratch_free(tree->box);
    scratch_free(tree->live);
    *tree = (struct planar){0};
}

void planar_light(struct planar *tree, uint32_t item, int by)
{
    for (size_t k = tree->leaves + tree->leaf[item]; k > 0; k /= 2)
        tree->live[k] += (uint32_t)by;
}

void planar_walk(const struct planar *tree,
                 bool (*reach)(const struct planar_box *box, const void *context),
                 bool (*visit)(uint32_t item, void *context), void *context)
{
    size_t stack[72], depth = 0;
    stack[depth++] = 1;
    while (depth) {
        size_t k = stack[--depth];
        if (tree->live[k] == 0 || !reach(&tree->box[k], context))
            continue;
        if (k < tree->leaves) {
            stack[depth++] = 2 * k + 1;
            stack[depth++] = 2 * k;
            continue;
        }
        size_t end = leaf_start(tree, k - tree->leaves + 1);
        for (size_t i = leaf_start(tree, k - tree->leaves); i < end; i++)
            if (!visit(tree->item[i], context))
                return;
    }
}
