/* The nearest points of a cloud, several at once: the tree is walked as for a single one, and a box
 * is looked into while it may hold a point nearer than the farthest that is kept. */
#include <float.h>

#include "core/tree_nodes.h"

enum { FEW = 48 }; /* up to so many are kept in order, more as a heap, the farthest on top */

struct gathering {
    const struct tree *tree;
    struct vec at;
    struct neighbour *near; /* in order, or the heap */
    size_t count, most;
    double reach2;
    float from[3]; /* at, rounded */
    double blur;   /* by how much */
    float limit;   /* squared: boxes beyond cannot hold what is wanted, whatever has been rounded */
};

static bool comes_before(const struct neighbour *a, const struct neighbour *b)
{
    return a->distance2 < b->distance2 || (a->distance2 == b->distance2 && a->vertex < b->vertex);
}

static const struct neighbour *farthest(const struct gathering *g)
{
    return &g->near[g->most > FEW ? 0 : g->count - 1];
}

static void set_limit(struct gathering *g)
{
    double far2 = g->count < g->most ? g->reach2 : farthest(g)->distance2;
    double far = sqrt(far2) + g->blur, limit = far * far * (1 + 1e-5) + 1e-36;
    g->limit = limit < (double)FLT_MAX ? (float)limit : INFINITY;
}

/* Puts it into the order, in which the last has to go when there are enough. */
static void insert(struct gathering *g, struct neighbour mine)
{
    size_t i = g->count < g->most ? g->count++ : g->count - 1;
    for (; i > 0 && comes_before(&mine, &g->near[i - 1]); i--)
        g->near[i] = g->near[i - 1];
    g->near[i] = mine;
}

/* Puts it on top of a heap of `count` whose top is free, and lets it sink. */
static void sink(struct neighbour *heap, size_t count, struct neighbour mine)
{
    size_t i = 0;
    for (size_t child = 1; child < count; child = 2 * i + 1) {
        if (child + 1 < count && comes_before(&heap[child], &heap[child + 1]))
            child++;
        if (!comes_before(&mine, &heap[child]))
            break;
        heap[i] = heap[child];
        i = child;
    }
    heap[i] = mine;
}

static void push(struct gathering *g, struct neighbour mine)
{
    if (g->count == g->most) {
        sink(g->near, g->count, mine);
        return;
    }
    size_t i = g->count++;
    for (; i > 0 && comes_before(&g->near[(i - 1) / 2], &mine); i = (i - 1) / 2)
        g->near[i] = g->near[(i - 1) / 2];
    g->near[i] = mine;
}

static void put_in_order(struct gathering *g)
{
    for (size_t count = g->count; count-- > 1;) {
        struct neighbour last = g->near[count];
        g->near[count] = g->near[0];
        sink(g->near, count, last);
    }
}

static void try_point(struct gathering *g, uint32_t id)
{
    struct vec p = point_vec(g->tree->point[id]);
    struct neighbour mine = {vec_length2(vec_sub(g->at, p)), id};
    if (mine.distance2 > g->reach2)
        return;
    if (g->count == g->most && !comes_before(&mine, farthest(g)))
        return;
    if (g->most > FEW)
        push(g, mine);
    else
        insert(g, mine);
    set_limit(g);
}

/* Looks at the points of a node of level 0, the nearest first. */
static void try_points(struct gathering *g, uint32_t node, lanes near, unsigned among)
{
    while (among) {
        unsigned least = tree_least_of(near, among);
        if (near[least] > g->limit)
            return;
        try_point(g, tree_item(g->tree, TREE_FAN * node + least));
        among &= ~(1u << least);
    }
}

static void gather(struct gathering *g)
{
    const struct tree *tree = g->tree;
    struct tree_waiting stack[TREE_STACK] = {{0, tree->levels - 1, 0}};
    for (int top = 1; top > 0;) {
        struct tree_waiting now = stack[--top];
        while (now.near <= g->limit) {
            lanes near =
                tree_box_distances(tree->node + tree->first[now.level] + now.node, g->from);
            unsigned among = lanes_bits(near <= lanes_all(g->limit));
            among &= (1u << tree_children(tree, now.level, now.node)) - 1;
            if (!among)
                break;
            if (now.level == 0) {
                try_points(g, now.node, near, among);
                break;
            }
            unsigned least = tree_least_of(near, among);
            uint32_t child = TREE_FAN * now.node;
            top = tree_keep_others(stack, top, among & ~(1u << least), near, child, now.level - 1);
            now = (struct tree_waiting){child + least, now.level - 1, near[least]};
        }
    }
}

size_t tree_neighbours(const struct tree *tree, struct vec at, double reach, size_t most,
                       struct neighbour *near)
{
    struct gathering g = {.tree = tree, .at = at, .near = near, .most = most};
    if (!tree->levels || tree->triangle || !most || !(reach >= 0) || !isfinite(at.x) ||
        !isfinite(at.y) || !isfinite(at.z))
        return 0;
    g.reach2 = reach * reach * (1 + 1e-15);
    for (int k = 0; k < 3; k++) {
        double x = (&at.x)[k], far = (double)FLT_MAX;
        g.from[k] = (float)(x < -far ? -far : x > far ? far : x);
        g.blur += fabs(x - (double)g.from[k]);
    }
    set_limit(&g);
    gather(&g);
    if (most > FEW)
        put_in_order(&g);
    return g.count;
}
