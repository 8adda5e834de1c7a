/* The nearest points of a cloud, several at once: the tree is walked as for a single one, and a box
 * is looked into while it may hold a point nearer than the farthest that is kept. */
#include <float.h>

#include "core/tree_nodes.h"

struct gathering {
    const struct tree *tree;
    struct vec at;
    struct neighbour *near; /* in order */
    size_t count, most;
    double reach2;
    float from[3]; /* at, rounded */
    double blur;   /* by how much */
    float limit;   /* squared: boxes beyond cannot hold what is wanted, whatever has been rounded */
};

static void set_limit(struct gathering *g)
{
    double far2 = g->count < g->most ? g->reach2 : g->near[g->count - 1].distance2;
    double far = sqrt(far2) + g->blur, limit = far * far * (1 + 1e-5) + 1e-36;
    g->limit = limit < (double)FLT_MAX ? (float)limit : INFINITY;
}

static bool comes_before(const struct neighbour *a, const struct neighbour *b)
{
    return a->distance2 < b->distance2 || (a->distance2 == b->distance2 && a->vertex < b->vertex);
}

static void try_point(struct gathering *g, uint32_t id)
{
    struct vec p = point_vec(g->tree->point[id]);
    struct neighbour mine = {vec_length2(vec_sub(g->at, p)), id};
    if (mine.distance2 > g->reach2)
        return;
    if (g->count == g->most && !comes_before(&mine, &g->near[g->count - 1]))
        return;
    size_t i = g->count < g->most ? g->count++ : g->count - 1;
    for (; i > 0 && comes_before(&mine, &g->near[i - 1]); i--)
        g->near[i] = g->near[i - 1];
    g->near[i] = mine;
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
    return g.count;
}
