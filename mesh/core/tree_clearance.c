/* How near the tree's triangles come to one triangle.
 *
 * Boxes are left out that lie beyond the reach across the triangle's plane or beside its box; so
 * are triangles beyond it from either's plane or along the line to their middle. The others are
 * decided in double precision: the least distance of two triangles that do not meet is that of a
 * corner from the other or of two edges. */
#include "core/closest.h"
#include "core/tree_nodes.h"

struct span {
    double low, high;
};

struct clearing {
    const struct tree *tree;
    struct vec corner[3], normal; /* unit, or zero */
    float middle[3], half[3];     /* of its box, rounded outward */
    float way[3], level, thick;   /* the normal, how high it lies above the middle, give or take */
    struct span span;             /* along the normal from its first corner */
    double best;
    float near; /* the best, rounded upward */
};

static double lesser(double a, double b)
{
    return a < b ? a : b;
}

/* --- what is beyond -------------------------------------------------------------------------- */

static struct vec normal_of(const struct vec corner[3])
{
    return vec_unit(vec_cross(vec_sub(corner[1], corner[0]), vec_sub(corner[2], corner[0])));
}

static struct span span_along(const struct vec p[3], struct vec from, struct vec way)
{
    double a = vec_dot(way, vec_sub(p[0], from)), b = vec_dot(way, vec_sub(p[1], from));
    double c = vec_dot(way, vec_sub(p[2], from));
    double low = a < b ? a : b, high = a < b ? b : a;
    return (struct span){low < c ? low : c, high > c ? high : c};
}

static bool apart(struct span a, struct span b, double by)
{
    return b.low - a.high >= by || a.low - b.high >= by;
}

/* Whether two triangles are parted by so much along a direction: a normal of noise, which needles
 * have, will do too. */
static bool parted(const struct vec a[3], const struct vec b[3], struct vec way, double by)
{
    return apart(span_along(a, a[0], way), span_along(b, a[0], way), by);
}

/* --- two triangles --------------------------------------------------------------------------- */

/* The squared distance of two segments (C. Ericson, "Real-Time Collision Detection", 2005, section
 * 5.1.9). */
static double segments_distance2(struct vec a, struct vec b, struct vec p, struct vec q)
{
    struct vec u = vec_sub(b, a), v = vec_sub(q, p), w = vec_sub(a, p);
    double uu = vec_length2(u), vv = vec_length2(v), uv = vec_dot(u, v), s = 0;
    double whole = uu * vv - uv * uv;
    if (whole > 0)
        s = (uv * vec_dot(v, w) - vv * vec_dot(u, w)) / whole;
    s = s > 0 ? (s < 1 ? s : 1) : 0;
    double t = closest_of_segment(vec_along(a, s, u), p, q);
    struct vec on = vec_along(p, t, v);
    s = closest_of_segment(on, a, b);
    return vec_length2(vec_sub(vec_along(a, s, u), on));
}

/* The squared distance from a triangle of where a segment passes its plane; INFINITY: it does not.
 */
static double passing_distance2(const struct vec corner[3], struct vec p, struct vec q)
{
    struct vec n = vec_cross(vec_sub(corner[1], corner[0]), vec_sub(corner[2], corner[0]));
    double from = vec_dot(n, vec_sub(p, corner[0])), to = vec_dot(n, vec_sub(q, corner[0]));
    if (!((from < 0 && to > 0) || (from > 0 && to < 0)))
        return INFINITY;
    return closest_distance2(vec_along(p, from / (from - to), vec_sub(q, p)), corner);
}

static double triangles_distance2(const struct vec a[3], const struct vec b[3])
{
    double d = INFINITY;
    for (int i = 0; i < 3; i++) {
        struct vec next = a[(i + 1) % 3];
        d = lesser(d, lesser(closest_distance2(a[i], b), closest_distance2(b[i], a)));
        d = lesser(d, lesser(passing_distance2(b, a[i], next),
                             passing_distance2(a, b[i], b[(i + 1) % 3])));
        for (int j = 0; j < 3; j++)
            d = lesser(d, segments_distance2(a[i], next, b[j], b[(j + 1) % 3]));
    }
    return d;
}

/* The line from the first to the second's middle. */
static struct vec towards(const struct vec a[3], const struct vec b[3])
{
    struct vec middle = vec_scale(vec_add(vec_add(b[0], b[1]), b[2]), 1 / 3.0);
    double weight[3];
    closest_of_triangle(middle, a, weight);
    return vec_unit(vec_sub(middle, closest_point(a, weight)));
}

static void set_best(struct clearing *c, double best)
{
    c->best = best;
    c->near = (float)(best * (1 + 1e-6));
}

static void try_triangle(struct clearing *c, uint32_t id)
{
    struct vec q[3];
    for (int k = 0; k < 3; k++)
        q[k] = point_vec(c->tree->point[c->tree->triangle[id].v[k]]);
    if (apart(c->span, span_along(q, c->corner[0], c->normal), c->best) ||
        parted(c->corner, q, normal_of(q), c->best) ||
        parted(c->corner, q, towards(c->corner, q), c->best))
        return;
    double d2 = triangles_distance2(c->corner, q);
    if (d2 < c->best * c->best)
        set_best(c, sqrt(d2));
}

/* --- the tree -------------------------------------------------------------------------------- */

/* The children that may come nearer than the best, as bits. Boxes are widened by what single
 * precision may err. */
static unsigned near_children(const struct clearing *c, const struct tree_node *node)
{
    struct tree_boxes box = tree_boxes(node);
    lanes high = lanes_all(-c->level), wide = lanes_all(0), gap2 = lanes_all(0), none = wide;
    float half_step = node->step / 2;
    for (int k = 0; k < 3; k++) {
        float off = node->low[k] - c->middle[k] - node->step;
        float blur = 1e-6f * (fabsf(off) + TREE_MASK * node->step);
        lanes middle = (box.min[k] + box.max[k]) * lanes_all(half_step) + lanes_all(off);
        lanes half = (box.max[k] - box.min[k]) * lanes_all(half_step) + lanes_all(blur);
        lanes gap = lanes_max(lanes_max(middle, -middle) - half - lanes_all(c->half[k]), none);
        gap2 += gap * gap;
        high += middle * lanes_all(c->way[k]);
        wide += half * lanes_all(fabsf(c->way[k]));
    }
    lanes near = lanes_all(c->near), up = lanes_max(high, -high) - wide - lanes_all(c->thick);
    return lanes_bits((gap2 <= near * near) & (up <= near));
}

static void search_tree(struct clearing *c)
{
    const struct tree *tree = c->tree;
    struct tree_waiting stack[TREE_STACK] = {{0, tree->levels - 1, 0}};
    for (int top = 1; top > 0;) {
        struct tree_waiting now = stack[--top];
        unsigned among = near_children(c, tree->node + tree->first[now.level] + now.node);
        among &= (1u << tree_children(tree, now.level, now.node)) - 1;
        uint32_t child = TREE_FAN * now.node;
        if (now.level > 0)
            top = tree_keep_others(stack, top, among, lanes_all(0), child, now.level - 1);
        for (; now.level == 0 && among; among &= among - 1)
            try_triangle(c, tree_item(tree, child + (unsigned)__builtin_ctz(among)));
    }
}

static void set_box(struct clearing *c)
{
    for (int k = 0; k < 3; k++) {
        double a = (&c->corner[0].x)[k], b = (&c->corner[1].x)[k], d = (&c->corner[2].x)[k];
        double least = fmin(a, fmin(b, d)), most = fmax(a, fmax(b, d)), middle = (least + most) / 2;
        c->middle[k] = (float)middle;
        c->half[k] = (float)(((most - least) / 2 + fabs(middle - (double)c->middle[k])) * 1.000001);
        c->way[k] = (float)(&c->normal.x)[k];
    }
    struct vec middle = vec((double)c->middle[0], (double)c->middle[1], (double)c->middle[2]);
    double level = vec_dot(c->normal, vec_sub(c->corner[0], middle));
    c->span = span_along(c->corner, c->corner[0], c->normal);
    c->level = (float)(level + (c->span.low + c->span.high) / 2);
    c->thick = (float)((c->span.high - c->span.low) / 2 * 1.000001);
}

double tree_clearance(const struct tree *tree, const struct vec corner[3], double reach)
{
    struct clearing c = {.tree = tree, .corner = {corner[0], corner[1], corner[2]}};
    if (!tree->levels || !tree->triangle || !(reach > 0))
        return reach;
    c.normal = normal_of(corner);
    set_best(&c, reach);
    set_box(&c);
    search_tree(&c);
    return c.best;
}
