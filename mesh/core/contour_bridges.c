/* The bridges built so far, in trees: of as many as a power of two each, so that one more costs
 * little (the logarithmic method: J. L. Bentley, "Decomposable Searching Problems", Information
 * Processing Letters 8, 1979). */
#include <string.h>

#include "core/contour_parts.h"

enum { LOOSE = 32 }; /* so many are looked through one by one before they get a tree */

bool bridges_make(struct bridges *b, size_t most)
{
    *b = (struct bridges){.count = 0};
    b->edge = scratch_new(most, sizeof *b->edge);
    b->low = scratch_new(most, sizeof *b->low);
    b->high = scratch_new(most, sizeof *b->high);
    return b->edge && b->low && b->high;
}

void bridges_release(struct bridges *b)
{
    while (b->trees > 0)
        planar_release(&b->tree[--b->trees]);
    scratch_free(b->edge);
    scratch_free(b->low);
    scratch_free(b->high);
}

/* Where the tree's bridges begin. */
static size_t start_of(const struct bridges *b, size_t tree)
{
    size_t start = 0;
    for (size_t i = 0; i < tree; i++)
        start += b->tree[i].count;
    return start;
}

/* A tree of all from the last one's of the same size on, again and again. */
static bool plant(struct bridges *b)
{
    size_t start = start_of(b, b->trees);
    while (b->trees > 0 && b->tree[b->trees - 1].count <= b->count - start) {
        start -= b->tree[--b->trees].count;
        planar_release(&b->tree[b->trees]);
    }
    return planar_make(&b->tree[b->trees], (const double(*)[2])b->low + start,
                       (const double(*)[2])b->high + start, b->count - start) &&
           ++b->trees;
}

bool bridges_add(struct bridges *b, uint32_t edge, const double from[2], const double to[2])
{
    for (int k = 0; k < 2; k++) {
        b->low[b->count][k] = fmin(from[k], to[k]);
        b->high[b->count][k] = fmax(from[k], to[k]);
    }
    b->edge[b->count++] = edge;
    return b->count - start_of(b, b->trees) < LOOSE || plant(b);
}

struct walk {
    const uint32_t *edge;
    bool (*visit)(uint32_t edge, void *context);
    bool (*reach)(const struct planar_box *box, const void *context);
    void *context;
};

static bool walk_reach(const struct planar_box *box, const void *context)
{
    const struct walk *walk = context;
    return walk->reach(box, walk->context);
}

static bool walk_visit(uint32_t item, void *context)
{
    struct walk *walk = context;
    return walk->visit(walk->edge[item], walk->context);
}

void bridges_walk(const struct bridges *b,
                  bool (*reach)(const struct planar_box *box, const void *context),
                  bool (*visit)(uint32_t edge, void *context), void *context)
{
    struct walk walk = {b->edge, visit, reach, context};
    for (size_t i = 0; i < b->trees; i++) {
        planar_walk(&b->tree[i], walk_reach, walk_visit, &walk);
        walk.edge += b->tree[i].count;
    }
    for (const uint32_t *edge = walk.edge; edge < b->edge + b->count; edge++)
        visit(*edge, context);
}
