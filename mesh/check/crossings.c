/* Every sixteen triangles that stand together in the tree look for those behind them whose boxes
 * they meet: that finds each pair of boxes once. Pairs that a plane across the line between their
 * middles parts are dropped four at a time; the others are decided by triangles_meet. */
#include "check/crossings.h"

#include <omp.h>
#include <stdlib.h>

#include "check/meet.h"
#include "core/job.h"
#include "core/tree_nodes.h"

enum { GROUP = 16, QUADS = GROUP / 4, STACK = 4 * TREE_LEVELS, LOOK = 4096 };

struct group { /* the triangles of one node of level 1 */
    _Alignas(16) float min[3][GROUP], max[3][GROUP], corner[3][3][GROUP];
    _Alignas(16) uint32_t vertex[3][GROUP];
    uint32_t first, id[GROUP];
    float low[3], high[3]; /* around all */
};

struct finder { /* one a thread */
    const struct mesh *mesh;
    const struct tree *tree;
    struct job *job;
    size_t most;
    struct crossing *pair;
    size_t kept, room;
    uint64_t count;
    bool failed, cancelled;
    struct group group;
};

static lanes load(const float *a)
{
    lanes x;
    memcpy(&x, a, sizeof x);
    return x;
}

static int_lanes load_int(const uint32_t *a)
{
    int_lanes x;
    memcpy(&x, a, sizeof x);
    return x;
}

/* --- the pairs kept ------------------------------------------------------------------------------
 */

static int pair_order(const void *x, const void *y)
{
    const struct crossing *p = x, *q = y;
    if (p->a != q->a)
        return p->a < q->a ? -1 : 1;
    return p->b < q->b ? -1 : p->b > q->b;
}

/* Sorts and forgets all but the first `most`. */
static void settle(struct finder *finder)
{
    if (finder->kept)
        qsort(finder->pair, finder->kept, sizeof *finder->pair, pair_order);
    if (finder->kept > finder->most)
        finder->kept = finder->most;
}

static bool make_room(struct finder *finder)
{
    if (finder->kept >= 2 * finder->most)
        settle(finder);
    if (finder->kept < finder->room)
        return true;
    size_t room = finder->room ? 2 * finder->room : 256;
    struct crossing *pair = realloc(finder->pair, room * sizeof *pair);
    if (!pair)
        return false;
    finder->pair = pair;
    finder->room = room;
    return true;
}

static void found(struct finder *finder, uint32_t a, uint32_t b)
{
    finder->count++;
    if (!finder->most || finder->failed)
        return;
    finder->failed = !make_room(finder);
    if (!finder->failed)
        finder->pair[finder->kept++] = a < b ? (struct crossing){a, b} : (struct crossing){b, a};
}

/* --- sixteen against one
 * -------------------------------------------------------------------------- */

static void load_item(const struct finder *finder, struct group *group, unsigned slot, uint32_t id)
{
    const struct triangle *t = mesh_triangle(finder->mesh) + id;
    const struct point *p[3];
    group->id[slot] = id;
    for (int c = 0; c < 3; c++) {
        p[c] = mesh_point(finder->mesh) + t->v[c];
        group->vertex[c][slot] = t->v[c];
    }
    for (int k = 0; k < 3; k++) {
        float x[3] = {(&p[0]->x)[k], (&p[1]->x)[k], (&p[2]->x)[k]};
        float min = x[0] < x[1] ? x[0] : x[1], max = x[0] < x[1] ? x[1] : x[0];
        for (int c = 0; c < 3; c++)
            group->corner[c][k][slot] = x[c];
        group->min[k][slot] = x[2] < min ? x[2] : min;
        group->max[k][slot] = x[2] > max ? x[2] : max;
    }
}

static void load_group(struct finder *finder, uint32_t first)
{
    struct group *group = &finder->group;
    uint32_t rest = finder->tree->items - first;
    group->first = first;
    for (unsigned i = 0; i < GROUP; i++) {
        load_item(finder, group, i, finder->tree->order[first + (i < rest ? i : 0)]);
        for (int k = 0; k < 3 && i >= rest; k++) { /* meets nothing */
            group->min[k][i] = INFINITY;
            group->max[k][i] = -INFINITY;
        }
    }
    for (int k = 0; k < 3; k++) {
        group->low[k] = INFINITY;
        group->high[k] = -INFINITY;
        for (unsigned i = 0; i < GROUP && i < rest; i++) {
            group->low[k] = fminf(group->low[k], group->min[k][i]);
            group->high[k] = fmaxf(group->high[k], group->max[k][i]);
        }
    }
}

/* The triangle that a group is held against. */
struct other {
    uint32_t id;
    const uint32_t *vertex;
    float corner[3][3], min[3], max[3];
    float blur; /* what a product with a coordinate difference may err, for a factor of 1 */
};

static struct other load_other(const struct finder *finder, uint32_t id)
{
    struct other other = {.id = id, .vertex = mesh_triangle(finder->mesh)[id].v};
    float span = 0;
    for (int k = 0; k < 3; k++) {
        for (int c = 0; c < 3; c++)
            other.corner[c][k] = (&mesh_point(finder->mesh)[other.vertex[c]].x)[k];
        other.min[k] = fminf(fminf(other.corner[0][k], other.corner[1][k]), other.corner[2][k]);
        other.max[k] = fmaxf(fmaxf(other.corner[0][k], other.corner[1][k]), other.corner[2][k]);
        span = fmaxf(span, fmaxf(finder->group.high[k], other.max[k]) -
                               fminf(finder->group.low[k], other.min[k]));
    }
    other.blur = span * 8 * 0x1p-24f;
    return other;
}

static unsigned boxes_meet(const struct group *group, unsigned at, const struct other *other)
{
    int_lanes meets = {-1, -1, -1, -1};
    for (int k = 0; k < 3; k++)
        meets &= (load(group->min[k] + at) <= lanes_all(other->max[k])) &
                 (load(group->max[k] + at) >= lanes_all(other->min[k]));
    return lanes_bits(meets);
}

static int_lanes shared_of(const struct group *group, unsigned at, const struct other *other)
{
    int_lanes shared = {0, 0, 0, 0};
    for (int i = 0; i < 3; i++) {
        int_lanes mine = load_int(group->vertex[i] + at);
        for (int j = 0; j < 3; j++) {
            int32_t v = (int32_t)other->vertex[j], bit = 1 << (3 * i + j);
            shared |= (mine == (int_lanes){v, v, v, v}) & (int_lanes){bit, bit, bit, bit};
        }
    }
    return shared;
}

static lanes absolute(lanes a)
{
    return lanes_max(a, -a);
}

/* Which of four are parted from the other by a plane across the line between their middles; with
 * one common corner, by such a plane that meets both in that corner alone. Heights along the line
 * are rounded by less than `blur`: a few units in the last place of the largest coordinate
 * difference times the direction's. */
static unsigned parted(const struct group *group, unsigned at, const struct other *other,
                       int_lanes shared)
{
    lanes mine[3] = {{0}, {0}, {0}}, theirs[2] = {{0}, {0}}, blur = lanes_all(0);
    for (int k = 0; k < 3; k++) {
        lanes origin = lanes_all(other->corner[0][k]), a[3], b[2];
        for (int c = 0; c < 3; c++)
            a[c] = load(group->corner[c][k] + at) - origin;
        for (int c = 0; c < 2; c++)
            b[c] = lanes_all(other->corner[c + 1][k]) - origin;
        lanes way = a[0] + a[1] + a[2] - b[0] - b[1];
        for (int c = 0; c < 3; c++)
            mine[c] += way * a[c];
        for (int c = 0; c < 2; c++)
            theirs[c] += way * b[c];
        blur += absolute(way);
    }
    blur *= lanes_all(other->blur);
    lanes low = lanes_min(lanes_min(mine[0], mine[1]), mine[2]);
    lanes high = lanes_max(lanes_max(theirs[0], theirs[1]), lanes_all(0));
    int_lanes none = shared == 0, one = ~none & ((shared & (shared - 1)) == 0);
    lanes over = high + blur, under = high - blur;
    int_lanes above = -((mine[0] > over) + (mine[1] > over) + (mine[2] > over));
    int_lanes below = -((lanes_all(0) < under) + (theirs[0] < under) + (theirs[1] < under));
    return lanes_bits((none & (low > over)) | (one & (low >= under) & (above == 2) & (below == 2)));
}

static bool slots_meet(const struct group *group, unsigned slot, const struct other *other,
                       unsigned shared)
{
    struct vec a[3], b[3];
    for (int c = 0; c < 3; c++) {
        a[c] = vec((double)group->corner[c][0][slot], (double)group->corner[c][1][slot],
                   (double)group->corner[c][2][slot]);
        b[c] = vec((double)other->corner[c][0], (double)other->corner[c][1],
                   (double)other->corner[c][2]);
    }
    return triangles_meet(a, b, shared);
}

/* The item at `place` in the tree's order against those of the group that stand before it. */
static void try_item(struct finder *finder, uint32_t place)
{
    const struct group *group = &finder->group;
    struct other other = load_other(finder, finder->tree->order[place]);
    unsigned ahead = place - group->first < GROUP ? place - group->first : GROUP;
    for (unsigned at = 0; at < ahead; at += 4) {
        unsigned among = boxes_meet(group, at, &other);
        among &= ahead - at < 4 ? (1u << (ahead - at)) - 1 : 15;
        if (!among)
            continue;
        int_lanes shared = shared_of(group, at, &other);
        among &= ~parted(group, at, &other, shared);
        for (; among; among &= among - 1) {
            unsigned c = (unsigned)__builtin_ctz(among);
            if (slots_meet(group, at + c, &other, (unsigned)shared[c]))
                found(finder, group->id[at + c], other.id);
        }
    }
}

/* --- through the tree
 * ----------------------------------------------------------------------------- */

/* Children whose boxes meet the group's; what the bounds are rounded is less than the boxes' margin
 * of a thousandth step, or too small to matter beside how far they are off. */
static unsigned children_meeting(const struct finder *finder, int level, uint32_t index)
{
    const struct tree_node *node = finder->tree->node + finder->tree->first[level] + index;
    struct tree_boxes box = tree_boxes(node);
    float per = tree_per_step(node);
    int_lanes meets = {-1, -1, -1, -1};
    for (int k = 0; k < 3; k++) {
        lanes low = lanes_all((finder->group.low[k] - node->low[k]) * per + 1);
        lanes high = lanes_all((finder->group.high[k] - node->low[k]) * per + 1);
        meets &= (box.max[k] >= low) & (box.min[k] <= high);
    }
    return lanes_bits(meets) & ((1u << tree_children(finder->tree, level, index)) - 1);
}

static void try_group(struct finder *finder, uint32_t first)
{
    const struct tree *tree = finder->tree;
    struct {
        uint32_t index;
        int level;
    } stack[STACK] = {{0, tree->levels - 1}};
    load_group(finder, first);
    unsigned looks = 0;
    for (int top = 1; top > 0 && !finder->cancelled;) {
        uint32_t index = stack[--top].index;
        int level = stack[top].level;
        for (unsigned among = children_meeting(finder, level, index); among; among &= among - 1) {
            uint32_t child = TREE_FAN * index + (unsigned)__builtin_ctz(among);
            if (level == 0 && child > first)
                try_item(finder, child);
            else if (level > 0 && (uint64_t)(child + 1) << 2 * level > first) {
                stack[top].index = child;
                stack[top++].level = level - 1;
            }
        }
        if (++looks % LOOK == 0 && job_cancelled(finder->job))
            finder->cancelled = true;
    }
}

static void find_all(struct finder *finders, int threads)
{
    uint32_t items = finders->tree->items;
#pragma omp parallel for num_threads(threads) schedule(dynamic, 64)
    for (uint32_t first = 0; first < items; first += GROUP) {
        struct finder *finder = finders + omp_get_thread_num();
        if (finder->failed || finder->cancelled)
            continue;
        try_group(finder, first);
        if (first / GROUP % 256 == 0 && !job_step(finder->job, 256 * GROUP))
            finder->cancelled = true;
    }
}

/* Brings together what the threads found. */
static enum status gather(struct finder *finders, int threads, struct crossing **pairs,
                          size_t *kept, uint64_t *count, struct job *job)
{
    struct finder *all = finders;
    for (int i = 0; i < threads; i++) {
        if (finders[i].cancelled)
            return job_fail_cancelled(job);
        if (finders[i].failed)
            return job_fail_memory(job, finders[i].room * 2 * sizeof(struct crossing));
    }
    for (int i = 1; i < threads; i++) {
        for (size_t j = 0; j < finders[i].kept && !all->failed; j++)
            found(all, finders[i].pair[j].a, finders[i].pair[j].b);
        all->count += finders[i].count - finders[i].kept;
    }
    if (all->failed)
        return job_fail_memory(job, all->room * 2 * sizeof(struct crossing));
    settle(all);
    *count = all->count;
    *kept = all->kept;
    *pairs = all->pair;
    all->pair = NULL;
    return STATUS_OK;
}

enum status crossings_find(const struct mesh *mesh, size_t most_kept, struct crossing **pairs,
                           size_t *kept, uint64_t *count, struct job *job)
{
    *pairs = NULL;
    *kept = 0;
    *count = 0;
    if (!mesh_triangles(mesh))
        return STATUS_OK;
    const struct tree *tree = mesh_tree(mesh, job);
    if (!tree)
        return job_status(job);
    int threads = job_threads(job);
    struct finder *finders = calloc((size_t)threads, sizeof *finders);
    if (!finders)
        return job_fail_memory(job, (size_t)threads * sizeof *finders);
    for (int i = 0; i < threads; i++) {
        finders[i].mesh = mesh;
        finders[i].tree = tree;
        finders[i].job = job;
        finders[i].most = most_kept < MESH_MOST ? most_kept : MESH_MOST;
    }
    find_all(finders, threads);
    enum status status = gather(finders, threads, pairs, kept, count, job);
    for (int i = 0; i < threads; i++)
        free(finders[i].pair);
    free(finders);
    return status;
}
