/* Building the tree: items are parted at medians along the longest axis of their middles (as in a
 * balanced k-d tree: Bentley 1975), at counts that fill every node but the last of each level;
 * then boxes are joined from the leaves up. Each part depends on nothing but its items, so the
 * tree is the same whatever the number of threads. */
#include <stdlib.h>

#include "core/job.h"
#include "core/tree_nodes.h"

enum {
    TASK_FROM = 8192, /* items: smaller parts are not worth a task of their own */
    SUBTREE = 5       /* the level up to which one thread fills nodes: 4096 items */
};

struct item { /* the middle of a triangle's box, or a point */
    float at[3];
    uint32_t id;
};

struct box {
    lanes min, max; /* x y z, and a lane that means nothing */
};

struct builder {
    struct item *item;
    const struct job *job;
};

static lanes item_lanes(const struct item *item)
{
    lanes a;
    memcpy(&a, item, sizeof a);
    return a;
}

static int longest_axis(const struct item *item, size_t count)
{
    lanes min = item_lanes(item), max = min;
    for (size_t i = 1; i < count; i++) {
        lanes a = item_lanes(item + i);
        min = lanes_min(a, min);
        max = lanes_max(a, max);
    }
    /* halves, as the difference of two floats may be too large for a float */
    lanes size = max * lanes_all(0.5f) - min * lanes_all(0.5f);
    int axis = size[1] > size[0];
    return size[2] > size[axis] ? 2 : axis;
}

static void insertion_sort(struct item *item, size_t count, int axis)
{
    for (size_t i = 1; i < count; i++) {
        struct item t = item[i];
        size_t j = i;
        for (; j > 0 && item[j - 1].at[axis] > t.at[axis]; j--)
            item[j] = item[j - 1];
        item[j] = t;
    }
}

/* Brings the items below the pivot (or not above it) to the front and returns how many they are.
 * Without branches: which side an item goes to cannot be foreseen. */
static size_t bring_front(struct item *item, size_t count, int axis, float pivot, bool or_equal)
{
    size_t front = 0;
    for (size_t i = 0; i < count; i++) {
        struct item t = item[i];
        item[i] = item[front];
        item[front] = t;
        front += or_equal ? t.at[axis] <= pivot : t.at[axis] < pivot;
    }
    return front;
}

enum { SORT_UP_TO = 16, SAMPLE_FROM = 64 };

static void select_item(struct item *item, size_t count, size_t nth, int axis,
                        const struct job *job);

/* Two values between which the nth item by coordinate lies very likely, but few others: its
 * neighbours in a sample of 2 sqrt(count), drawn from everywhere (neighbours in the file are
 * neighbours in space) and left in front. */
static void bracket(struct item *item, size_t count, size_t nth, int axis, float *low, float *high,
                    const struct job *job)
{
    size_t sample = 2 * (size_t)sqrt((double)count), rank = nth * sample / count;
    size_t spread = (size_t)sqrt((double)sample);
    for (size_t i = 0; i < sample; i++) {
        size_t from = i + (uint32_t)i * UINT32_C(0x9E3779B9) % (count - i);
        struct item t = item[i];
        item[i] = item[from];
        item[from] = t;
    }
    size_t upper = rank + spread < sample ? rank + spread : sample - 1;
    size_t lower = rank > spread ? rank - spread : 0;
    select_item(item, sample, upper, axis, job);
    *high = item[upper].at[axis];
    select_item(item, upper + 1, lower, axis, job);
    *low = item[lower].at[axis];
}

/* Moves the nth item by coordinate to its place, smaller ones before it, greater ones behind: by
 * parting, with pivots from a sample as in R. W. Floyd, R. L. Rivest, "Expected Time Bounds for
 * Selection", Communications of the ACM 18 (1975). Of no use when cancelled. */
static void select_item(struct item *item, size_t count, size_t nth, int axis,
                        const struct job *job)
{
    bool sample = true;
    while (count > SORT_UP_TO) {
        if (count > TASK_FROM && job_cancelled(job))
            return;
        float low = item[nth].at[axis], high = low;
        if (sample && count >= SAMPLE_FROM)
            bracket(item, count, nth, axis, &low, &high, job);
        size_t before = bring_front(item, count, axis, low, false);
        if (nth < before) {
            count = before;
            continue;
        }
        size_t within = bring_front(item + before, count - before, axis, high, true);
        if (nth >= before + within) {
            before += within;
            within = count - before;
        } else if (low == high)
            return;
        sample = within < count; /* a single pivot always gets on */
        item += before;
        nth -= before;
        count = within;
    }
    insertion_sort(item, count, axis);
}

/* Parts the items so that every node's stand together: the first part is a power of two, so all
 * nodes but the last of each level are full. */
static void part(const struct builder *builder, struct item *item, size_t count)
{
    if (count <= TREE_FAN || job_cancelled(builder->job))
        return;
    size_t half = (size_t)1 << (63 - __builtin_clzll(count - 1));
    select_item(item, count, half, longest_axis(item, count), builder->job);
#pragma omp task if (half >= TASK_FROM)
    part(builder, item, half);
    part(builder, item + half, count - half);
}

static struct box item_box(const struct tree *tree, uint32_t id)
{
    const uint32_t *v = tree->triangle ? tree->triangle[id].v : &id;
    const struct point *p = tree->point + v[0];
    lanes a = {p->x, p->y, p->z, 0};
    struct box box = {a, a};
    for (int i = 1; i < 3 && tree->triangle; i++) {
        p = tree->point + v[i];
        a = (lanes){p->x, p->y, p->z, 0};
        box.min = lanes_min(box.min, a);
        box.max = lanes_max(box.max, a);
    }
    return box;
}

static struct item *items_new(const struct tree *tree, int threads)
{
    struct item *item = scratch_new(tree->items, sizeof *item);
    if (!item)
        return NULL;
#pragma omp parallel for num_threads(threads)
    for (uint32_t i = 0; i < tree->items; i++) {
        struct box box = item_box(tree, i);
        lanes at = box.min * lanes_all(0.5f) + box.max * lanes_all(0.5f);
        item[i] = (struct item){{at[0], at[1], at[2]}, i};
    }
    return item;
}

/* The items in the order in which they stand in the tree. NULL when there is no memory, or it was
 * cancelled. */
static uint32_t *order_new(const struct tree *tree, int threads, struct job *job)
{
    struct builder builder = {items_new(tree, threads), job};
    if (!builder.item)
        return NULL;
#pragma omp parallel num_threads(threads)
#pragma omp single
    part(&builder, builder.item, tree->items);
    uint32_t *order = job_cancelled(job) ? NULL : scratch_new(tree->items, sizeof *order);
    for (uint32_t i = 0; i < tree->items && order; i++)
        order[i] = builder.item[i].id;
    scratch_free(builder.item);
    return order;
}

/* --- boxes ----------------------------------------------------------------------------------- */

/* The smallest power of two of which 1020 steps span the size; never so small that coordinates
 * counted in steps leave the range of a float. */
static float step_for(double size)
{
    double least = size / 1020;
    if (!(least > 0x1p-60))
        return 0x1p-60f;
    uint64_t bits;
    memcpy(&bits, &least, sizeof bits);
    bool whole = !(bits & ((UINT64_C(1) << 52) - 1));
    uint32_t exponent = (uint32_t)(bits >> 52) - 1023 + 127 + !whole, step_bits = exponent << 23;
    float step;
    memcpy(&step, &step_bits, sizeof step);
    return step;
}

/* One child's box in steps from -1, rounded outward by at least a thousandth of a step. */
static void set_child(struct tree_node *node, unsigned c, const struct box *child)
{
    double per = (double)tree_per_step(node);
    uint32_t min = 0, max = 0;
    for (unsigned k = 0; k < 3; k++) {
        double low = ((double)child->min[k] - (double)node->low[k]) * per;
        double high = ((double)child->max[k] - (double)node->low[k]) * per;
        min |= (uint32_t)(low + 0.999) << TREE_BITS * k;
        max |= (uint32_t)(high + 2.001) << TREE_BITS * k;
    }
    node->min[c] = min;
    node->max[c] = max;
}

/* Fills the node from its children's boxes and returns the box of all. */
static struct box set_node(struct tree_node *node, const struct box *child, unsigned children)
{
    struct box all = child[0];
    for (unsigned c = 1; c < children; c++) {
        all.min = lanes_min(all.min, child[c].min);
        all.max = lanes_max(all.max, child[c].max);
    }
    double size = 0;
    for (int k = 0; k < 3; k++) {
        node->low[k] = all.min[k];
        size = fmax(size, (double)all.max[k] - (double)all.min[k]);
    }
    node->step = step_for(size);
    for (unsigned c = 0; c < TREE_FAN; c++)
        set_child(node, c, child + (c < children ? c : 0));
    return all;
}

/* Fills a node and all below it; returns its box. */
static struct box fill(struct tree *tree, const uint32_t *order, int level, uint32_t i)
{
    struct tree_node *node = tree->node + tree->first[level] + i;
    struct box child[TREE_FAN];
    unsigned children = tree_children(tree, level, i);
    for (unsigned c = 0; c < children; c++)
        child[c] = level ? fill(tree, order, level - 1, TREE_FAN * i + c)
                         : item_box(tree, order[TREE_FAN * i + c]);
    for (unsigned c = 0; c < TREE_FAN; c++)
        node->item[c] = level || c >= children ? NO_INDEX : order[TREE_FAN * i + c];
    return set_node(node, child, children);
}

static bool set_nodes(struct tree *tree, const uint32_t *order, int threads, const struct job *job)
{
    int level = tree->levels > SUBTREE ? SUBTREE : tree->levels - 1;
    struct box *box = scratch_new(tree_count(tree, level), sizeof *box);
    tree->node = scratch_new(tree->first[tree->levels], sizeof *tree->node);
    if (!box || !tree->node) {
        scratch_free(box);
        return false;
    }
#pragma omp parallel for num_threads(threads) schedule(dynamic)
    for (uint32_t i = 0; i < tree_count(tree, level); i++)
        if (!job_cancelled(job))
            box[i] = fill(tree, order, level, i);
    for (level++; level < tree->levels && !job_cancelled(job); level++) {
        struct tree_node *node = tree->node + tree->first[level];
        for (uint32_t i = 0; i < tree_count(tree, level); i++)
            box[i] = set_node(node + i, box + TREE_FAN * i, tree_children(tree, level, i));
    }
    scratch_free(box);
    return true;
}

static void count_levels(struct tree *tree)
{
    uint32_t count = tree->items;
    while (count && (count > 1 || !tree->levels)) {
        count = (count + TREE_FAN - 1) / TREE_FAN;
        tree->first[tree->levels + 1] = tree->first[tree->levels] + count;
        tree->levels++;
    }
}

static void tree_free(void *data)
{
    struct tree *tree = data;
    scratch_free(tree->node);
    free(tree);
}

static void *tree_make(const struct mesh *mesh, struct job *job)
{
    struct tree *tree = calloc(1, sizeof *tree);
    if (!tree) {
        job_fail_memory(job, sizeof *tree);
        return NULL;
    }
    size_t triangles = mesh_triangles(mesh);
    tree->point = mesh_point(mesh);
    tree->triangle = triangles ? mesh_triangle(mesh) : NULL;
    tree->items = (uint32_t)(triangles ? triangles : mesh_vertices(mesh));
    count_levels(tree);
    int threads = job_threads(job);
    uint32_t *order = tree->items ? order_new(tree, threads, job) : NULL;
    bool built = !tree->items || (order && set_nodes(tree, order, threads, job));
    scratch_free(order);
    if (job_cancelled(job))
        job_fail_cancelled(job);
    else if (!built)
        job_fail_memory(job, (size_t)tree->items * 26);
    if (!built || job_cancelled(job)) {
        tree_free(tree);
        return NULL;
    }
    return tree;
}

const struct derived_row derived_tree = {tree_make, tree_free};

const struct tree *mesh_tree(const struct mesh *mesh, struct job *job)
{
    return mesh_derive(mesh, DERIVED_tree, job);
}
