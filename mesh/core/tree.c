/* Asking the tree: nearest point, first triangle along a ray, triangles in a box.
 *
 * Boxes are tested four at a time in single precision, with what that may err by allowed for;
 * triangles in double precision. So answers are those of trying every triangle. The ray test is
 * that of S. Woop, C. Benthin, I. Wald, "Watertight Ray/Triangle Intersection", Journal of
 * Computer Graphics Techniques 2 (2013). */
#include <float.h>

#include "core/closest.h"
#include "core/tree_nodes.h"

/* --- nearest point --------------------------------------------------------------------------- */

struct search {
    const struct tree *tree;
    struct vec at;
    double best; /* squared distance of the nearest so far */
    struct nearest nearest;
    float from[3]; /* at, rounded */
    double blur;   /* by how much */
    float limit;   /* squared: boxes beyond cannot hold a nearer point, whatever has been rounded */
};

static void set_limit(struct search *search)
{
    double reach = sqrt(search->best) + search->blur;
    double limit = reach * reach * (1 + 1e-5) + 1e-36;
    search->limit = limit < (double)FLT_MAX ? (float)limit : INFINITY;
}

static void try_point(struct search *search, uint32_t id)
{
    struct vec p = point_vec(search->tree->point[id]);
    double d = vec_length2(vec_sub(search->at, p));
    if (d > search->best || (d == search->best && id > search->nearest.triangle))
        return;
    search->best = d;
    search->nearest = (struct nearest){id, 0, p, {1, 0, 0}};
    set_limit(search);
}

static void try_triangle(struct search *search, uint32_t id)
{
    const struct tree *tree = search->tree;
    if (!tree->triangle) {
        try_point(search, id);
        return;
    }
    struct vec corner[3], p;
    double weight[3];
    for (int k = 0; k < 3; k++)
        corner[k] = point_vec(tree->point[tree->triangle[id].v[k]]);
    closest_of_triangle(search->at, corner, weight);
    p = closest_point(corner, weight);
    double d = vec_length2(vec_sub(search->at, p));
    if (d > search->best || (d == search->best && id > search->nearest.triangle))
        return;
    search->best = d;
    search->nearest = (struct nearest){id, 0, p, {weight[0], weight[1], weight[2]}};
    set_limit(search);
}

static void search_tree(struct search *search)
{
    const struct tree *tree = search->tree;
    struct tree_waiting stack[TREE_STACK] = {{0, tree->levels - 1, 0}};
    for (int top = 1; top > 0;) {
        struct tree_waiting now = stack[--top];
        if (now.near > search->limit)
            continue;
        for (;;) {
            lanes near =
                tree_box_distances(tree->node + tree->first[now.level] + now.node, search->from);
            unsigned among = lanes_bits(near <= lanes_all(search->limit));
            among &= (1u << tree_children(tree, now.level, now.node)) - 1;
            if (!among)
                break;
            unsigned least = tree_least_of(near, among);
            uint32_t child = TREE_FAN * now.node;
            if (now.level == 0) {
                try_triangle(search, tree_item(tree, child + least));
                for (unsigned rest = among & ~(1u << least); rest; rest &= rest - 1) {
                    unsigned c = (unsigned)__builtin_ctz(rest);
                    if (near[c] <= search->limit)
                        try_triangle(search, tree_item(tree, child + c));
                }
                break;
            }
            top = tree_keep_others(stack, top, among & ~(1u << least), near, child, now.level - 1);
            now = (struct tree_waiting){child + least, now.level - 1, near[least]};
        }
    }
}

struct nearest tree_nearest_from(const struct tree *tree, struct vec at, double reach,
                                 uint32_t guess)
{
    struct search search = {.tree = tree, .at = at, .best = reach * reach * (1 + 1e-15)};
    search.nearest.triangle = NO_INDEX;
    if (!tree->levels || !isfinite(at.x) || !isfinite(at.y) || !isfinite(at.z) || !(reach >= 0))
        return search.nearest;
    for (int k = 0; k < 3; k++) {
        double x = (&at.x)[k], most = (double)FLT_MAX;
        search.from[k] = (float)(x < -most ? -most : x > most ? most : x);
        search.blur += fabs(x - (double)search.from[k]);
    }
    set_limit(&search);
    if (guess < tree->items)
        try_triangle(&search, guess);
    search_tree(&search);
    search.nearest.distance = sqrt(search.best);
    if (search.nearest.distance > reach)
        search.nearest.triangle = NO_INDEX;
    return search.nearest;
}

struct nearest tree_nearest(const struct tree *tree, struct vec at, double reach)
{
    return tree_nearest_from(tree, at, reach, NO_INDEX);
}

/* --- rays ------------------------------------------------------------------------------------ */

/* Boxes are met in single precision by a parameter of their own, s = t * stretch - shift: along
 * the ray made 1 long in its longest coordinate, from the ray's point nearest to the mesh. */
struct ray {
    const struct tree *tree;
    struct vec from;
    int axis[3];     /* the last one is that along which the ray runs farthest */
    double shear[3]; /* that turn the ray into the last axis */
    double after;
    struct hit hit; /* t: the nearest so far */
    double stretch, shift;
    float start[3], blur[3], inverse[3]; /* blur: how far start has been rounded */
    float least, most;                   /* s of after and of hit.t, rounded outward */
};

static double part_of(const struct vec *a, int axis)
{
    return (&a->x)[axis];
}

static float outward(double s, double way)
{
    double wide = s + way * (1e-6 * fabs(s) + 1e-30), most = (double)FLT_MAX;
    return wide > most ? INFINITY : wide < -most ? -INFINITY : (float)wide;
}

static void set_most(struct ray *ray)
{
    ray->most = outward(ray->hit.t * ray->stretch - ray->shift, 1);
}

static void try_ray(struct ray *ray, uint32_t id)
{
    double x[3], y[3], z[3], edge[3];
    for (int k = 0; k < 3; k++) {
        struct vec p =
            vec_sub(point_vec(ray->tree->point[ray->tree->triangle[id].v[k]]), ray->from);
        z[k] = part_of(&p, ray->axis[2]);
        x[k] = part_of(&p, ray->axis[0]) - ray->shear[0] * z[k];
        y[k] = part_of(&p, ray->axis[1]) - ray->shear[1] * z[k];
    }
    for (int k = 0; k < 3; k++)
        edge[k] = x[(k + 2) % 3] * y[(k + 1) % 3] - y[(k + 2) % 3] * x[(k + 1) % 3];
    bool more = edge[0] > 0 || edge[1] > 0 || edge[2] > 0;
    bool less = edge[0] < 0 || edge[1] < 0 || edge[2] < 0;
    if (more == less) /* passes by, or runs along it */
        return;
    double whole = edge[0] + edge[1] + edge[2];
    double t = ray->shear[2] * (edge[0] * z[0] + edge[1] * z[1] + edge[2] * z[2]) / whole;
    if (!(t > ray->after) || t > ray->hit.t || (t == ray->hit.t && id > ray->hit.triangle))
        return;
    ray->hit = (struct hit){id, t, {edge[0] / whole, edge[1] / whole, edge[2] / whole}};
    set_most(ray);
}

/* Where the ray enters each child's box, and which of them it may meet between after and hit.t.
 * The boxes are widened by what the coordinates and the products are rounded. */
static unsigned box_entries(const struct tree_node *node, const struct ray *ray, lanes *entry)
{
    struct tree_boxes box = tree_boxes(node);
    float per = tree_per_step(node);
    lanes in = lanes_all(ray->least), out = lanes_all(ray->most);
    for (int k = 0; k < 3; k++) {
        float at = (ray->start[k] - node->low[k]) * per + 1;
        float blur = 1e-6f * (fabsf(at) + TREE_MASK) + ray->blur[k] * per;
        float scale = node->step * ray->inverse[k];
        lanes a = (box.min[k] - lanes_all(at + blur)) * lanes_all(scale);
        lanes b = (box.max[k] - lanes_all(at - blur)) * lanes_all(scale);
        in = lanes_max(lanes_min(a, b), in);
        out = lanes_min(lanes_max(a, b), out);
    }
    *entry = in;
    return lanes_bits(in <= out);
}

/* False when the ray has no direction or is not finite. */
static bool set_ray(struct ray *ray, struct vec along)
{
    const struct tree *tree = ray->tree;
    const struct tree_node *root = tree->node + tree->first[tree->levels - 1];
    int longest = fabs(along.x) < fabs(along.y);
    longest = fabs(part_of(&along, longest)) < fabs(along.z) ? 2 : longest;
    double length = part_of(&along, longest);
    if (!isfinite(along.x + along.y + along.z) || !isfinite(vec_length2(ray->from)) || length == 0)
        return false;
    ray->stretch = fabs(length);
    for (int i = 0; i < 3; i++)
        ray->axis[i] = (longest + 1 + i) % 3;
    ray->shear[0] = part_of(&along, ray->axis[0]) / length;
    ray->shear[1] = part_of(&along, ray->axis[1]) / length;
    ray->shear[2] = 1 / length;
    double half = TREE_MASK / 2 * (double)root->step; /* from the root's corner to its middle */
    struct vec middle =
        vec((double)root->low[0] + half, (double)root->low[1] + half, (double)root->low[2] + half);
    struct vec unit = vec_scale(along, 1 / ray->stretch);
    ray->shift = vec_dot(vec_sub(middle, ray->from), unit) / vec_length2(unit);
    struct vec start = vec_along(ray->from, ray->shift, unit);
    for (int k = 0; k < 3; k++) {
        double inverse = 1 / part_of(&unit, k), x = part_of(&start, k);
        ray->start[k] = (float)x;
        ray->blur[k] = (float)(fabs(x - (double)ray->start[k]) + 1e-14 * fabs(ray->shift)) * 1.001f;
        ray->inverse[k] = fabs(inverse) < 1e30 ? (float)inverse : inverse < 0 ? -1e30f : 1e30f;
    }
    ray->least = outward(ray->after * ray->stretch - ray->shift, -1);
    set_most(ray);
    return true;
}

static void follow_ray(struct ray *ray)
{
    const struct tree *tree = ray->tree;
    struct tree_waiting stack[TREE_STACK] = {{0, tree->levels - 1, -INFINITY}};
    for (int top = 1; top > 0;) {
        struct tree_waiting now = stack[--top];
        if (now.near > ray->most)
            continue;
        for (;;) {
            lanes near;
            unsigned among =
                box_entries(tree->node + tree->first[now.level] + now.node, ray, &near);
            among &= (1u << tree_children(tree, now.level, now.node)) - 1;
            if (!among)
                break;
            uint32_t child = TREE_FAN * now.node;
            if (now.level == 0) {
                for (; among; among &= among - 1)
                    try_ray(ray, tree_item(tree, child + (unsigned)__builtin_ctz(among)));
                break;
            }
            unsigned least = tree_least_of(near, among);
            top = tree_keep_others(stack, top, among & ~(1u << least), near, child, now.level - 1);
            now = (struct tree_waiting){child + least, now.level - 1, near[least]};
        }
    }
}

struct hit tree_ray(const struct tree *tree, struct vec from, struct vec along, double after,
                    double before)
{
    struct ray ray = {.tree = tree, .from = from, .after = after};
    ray.hit = (struct hit){NO_INDEX, before, {0, 0, 0}};
    if (tree->levels && tree->triangle && set_ray(&ray, along))
        follow_ray(&ray);
    return ray.hit;
}

/* --- boxes ----------------------------------------------------------------------------------- */

static bool item_meets(const struct tree *tree, uint32_t id, const double min[3],
                       const double max[3])
{
    const uint32_t *v = tree->triangle ? tree->triangle[id].v : &id;
    for (int k = 0; k < 3; k++) {
        bool above = true, below = true;
        for (int i = 0; i < (tree->triangle ? 3 : 1); i++) {
            double x = (double)(&tree->point[v[i]].x)[k];
            above = above && x > max[k];
            below = below && x < min[k];
        }
        if (above || below)
            return false;
    }
    return true;
}

static unsigned boxes_meeting(const struct tree_node *node, const double min[3],
                              const double max[3])
{
    struct tree_boxes box = tree_boxes(node);
    int_lanes meets = {-1, -1, -1, -1};
    for (int k = 0; k < 3; k++) {
        double low = (double)node->low[k], per = 1 / (double)node->step;
        lanes least = lanes_all((float)((min[k] - low) * per + 1));
        lanes most = lanes_all((float)((max[k] - low) * per + 1));
        meets &= (box.max[k] >= least) & (box.min[k] <= most);
    }
    return lanes_bits(meets);
}

void tree_box(const struct tree *tree, struct vec min, struct vec max,
              bool (*visit)(uint32_t triangle, void *context), void *context)
{
    const double low[3] = {min.x, min.y, min.z}, high[3] = {max.x, max.y, max.z};
    struct tree_waiting stack[TREE_STACK] = {{0, tree->levels - 1, 0}};
    for (int top = tree->levels ? 1 : 0; top > 0;) {
        struct tree_waiting now = stack[--top];
        unsigned among = boxes_meeting(tree->node + tree->first[now.level] + now.node, low, high);
        among &= (1u << tree_children(tree, now.level, now.node)) - 1;
        uint32_t child = TREE_FAN * now.node;
        if (now.level > 0)
            top = tree_keep_others(stack, top, among, lanes_all(0), child, now.level - 1);
        for (; now.level == 0 && among; among &= among - 1) {
            uint32_t id = tree_item(tree, child + (unsigned)__builtin_ctz(among));
            if (item_meets(tree, id, low, high) && !visit(id, context))
                return;
        }
    }
}
