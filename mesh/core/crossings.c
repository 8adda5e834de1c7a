/* Every sixteen triangles that stand together in the tree look for those behind them whose boxes
 * they meet: that finds each pair of boxes once. Pairs that a plane across the line between their
 * middles parts are dropped four at a time; the others are decided by triangles_meet. */
#include "core/crossings.h"

#include <omp.h>
#include <stdlib.h>

#include "core/job.h"
#include "core/meet.h"
#include "core/tree_nodes.h"

/* More than what is lost where products of tiny coordinates leave the range of a float. */
#define TINY 1e-37f

enum { GROUP = 16, QUADS = GROUP / 4, STACK = 4 * TREE_LEVELS, LOOK = 1024 };

struct group { /* the triangles of one node of level 1; its leaves are quads of slots */
    _Alignas(16) float min[3][GROUP], max[3][GROUP]; /* boxes; missing ones meet nothing */
    _Alignas(16) float leaf_min[3][QUADS], leaf_max[3][QUADS];
    /* beside the origin, which is one of the corners: */
    _Alignas(16) float corner[3][3][GROUP], sum[3][GROUP], normal[3][GROUP];
    _Alignas(16) uint32_t vertex[3][GROUP];
    struct point origin;
    lanes low, high; /* around all */
    uint32_t first, id[GROUP];
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

/* --- the pairs kept -------------------------------------------------------------------------- */

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

/* One triangle beside an origin. */
struct face {
    const uint32_t *vertex;
    lanes corner[3], min, max, sum, normal; /* x y z, and a lane of nothing */
};

static lanes turned(lanes a) /* y z x */
{
    return (lanes){a[1], a[2], a[0], 0};
}

static struct face load_face(const struct mesh *mesh, uint32_t id, struct point origin)
{
    struct face face = {.vertex = mesh_triangle(mesh)[id].v};
    lanes from = {origin.x, origin.y, origin.z, 0};
    for (int c = 0; c < 3; c++) {
        struct point p = mesh_point(mesh)[face.vertex[c]];
        face.corner[c] = (lanes){p.x, p.y, p.z, 0};
    }
    face.min = lanes_min(lanes_min(face.corner[0], face.corner[1]), face.corner[2]);
    face.max = lanes_max(lanes_max(face.corner[0], face.corner[1]), face.corner[2]);
    for (int c = 0; c < 3; c++)
        face.corner[c] -= from;
    face.sum = face.corner[0] + face.corner[1] + face.corner[2];
    lanes p = face.corner[1] - face.corner[0], q = face.corner[2] - face.corner[0];
    face.normal = turned(p * turned(q) - turned(p) * q);
    return face;
}

static void load_slot(const struct mesh *mesh, struct group *group, unsigned slot, uint32_t id)
{
    struct face face = load_face(mesh, id, group->origin);
    group->id[slot] = id;
    for (int k = 0; k < 3; k++) {
        group->vertex[k][slot] = face.vertex[k];
        group->min[k][slot] = face.min[k];
        group->max[k][slot] = face.max[k];
        group->sum[k][slot] = face.sum[k];
        group->normal[k][slot] = face.normal[k];
        for (int c = 0; c < 3; c++)
            group->corner[c][k][slot] = face.corner[c][k];
    }
}

static float least_of(const float *a, unsigned count)
{
    float least = a[0];
    for (unsigned i = 1; i < count; i++)
        least = a[i] < least ? a[i] : least;
    return least;
}

static float most_of(const float *a, unsigned count)
{
    float most = a[0];
    for (unsigned i = 1; i < count; i++)
        most = a[i] > most ? a[i] : most;
    return most;
}

static void load_group(struct finder *finder, uint32_t first)
{
    struct group *group = &finder->group;
    uint32_t rest = finder->tree->items - first;
    group->first = first;
    uint32_t one = tree_item(finder->tree, first);
    group->origin = mesh_point(finder->mesh)[mesh_triangle(finder->mesh)[one].v[0]];
    for (unsigned i = 0; i < GROUP; i++) {
        load_slot(finder->mesh, group, i, i < rest ? tree_item(finder->tree, first + i) : one);
        for (int k = 0; k < 3 && i >= rest; k++) {
            group->min[k][i] = INFINITY;
            group->max[k][i] = -INFINITY;
        }
    }
    for (int k = 0; k < 3; k++) {
        for (unsigned leaf = 0; leaf < QUADS; leaf++) {
            group->leaf_min[k][leaf] = least_of(group->min[k] + 4 * leaf, 4);
            group->leaf_max[k][leaf] = most_of(group->max[k] + 4 * leaf, 4);
        }
        group->low[k] = least_of(group->leaf_min[k], QUADS);
        group->high[k] = most_of(group->leaf_max[k], QUADS);
    }
}

/* Which of four boxes meet the face's; coordinates of an axis are `stride` apart. */
static unsigned boxes_meeting(const float *min, const float *max, unsigned stride,
                              const struct face *face)
{
    int_lanes meets = {-1, -1, -1, -1};
    for (unsigned k = 0; k < 3; k++)
        meets &= (load(min + k * stride) <= lanes_all(face->max[k])) &
                 (load(max + k * stride) >= lanes_all(face->min[k]));
    return lanes_bits(meets);
}

static int_lanes shared_of(const struct group *group, unsigned at, const struct face *face)
{
    int_lanes shared = {0, 0, 0, 0};
    for (int i = 0; i < 3; i++) {
        int_lanes mine = load_int(group->vertex[i] + at);
        for (int j = 0; j < 3; j++) {
            int32_t v = (int32_t)face->vertex[j], bit = 1 << (3 * i + j);
            shared |= (mine == (int_lanes){v, v, v, v}) & (int_lanes){bit, bit, bit, bit};
        }
    }
    return shared;
}

static lanes absolute(lanes a)
{
    return lanes_max(a, -a);
}

/* Which of four are parted from the face by a plane across the line between their middles; with one
 * common corner, by such a plane that meets both in that corner alone. Heights along the line err
 * by less than 8 units in the last place of the direction times the largest coordinate, the
 * rounding of the coordinates included. */
static int_lanes parted(const struct group *group, unsigned at, const struct face *face, float span,
                        int_lanes shared)
{
    lanes mine[3] = {{0}, {0}, {0}}, theirs[3] = {{0}, {0}, {0}}, blur = lanes_all(0);
    for (int k = 0; k < 3; k++) {
        lanes way = load(group->sum[k] + at) - lanes_all(face->sum[k]);
        for (int c = 0; c < 3; c++) {
            mine[c] += way * load(group->corner[c][k] + at);
            theirs[c] += way * lanes_all(face->corner[c][k]);
        }
        blur += absolute(way);
    }
    blur = blur * lanes_all(span * 8 * 0x1p-24f) + lanes_all(TINY);
    lanes low = lanes_min(lanes_min(mine[0], mine[1]), mine[2]);
    lanes high = lanes_max(lanes_max(theirs[0], theirs[1]), theirs[2]);
    lanes over = high + blur, under = high - blur;
    int_lanes above = (mine[0] > over) + (mine[1] > over) + (mine[2] > over);
    int_lanes below = (theirs[0] < under) + (theirs[1] < under) + (theirs[2] < under);
    int_lanes none = shared == 0, one = ~none & ((shared & (shared - 1)) == 0);
    return (none & (low > over)) | (one & (low >= under) & (above == -2) & (below == -2));
}

/* Which of four share an edge with the face and turn the same way, if both run as neighbours
 * should: then they cannot lie folded on one another. Products of normals err by less than 256
 * units. */
static int_lanes unfolded(const struct group *group, unsigned at, const struct face *face,
                          float span, int_lanes shared)
{
    int_lanes but_one = shared & (shared - 1);
    lanes product = lanes_all(0);
    for (int k = 0; k < 3; k++)
        product += load(group->normal[k] + at) * lanes_all(face->normal[k]);
    float blur = 256 * 0x1p-24f * span * span * span * span + TINY;
    return (but_one != 0) & ((but_one & (but_one - 1)) == 0) & (product > lanes_all(blur));
}

/* Whether the two common corners are run through in opposite directions, as neighbours should. */
static bool neighbours(unsigned shared)
{
    unsigned one = (unsigned)__builtin_ctz(shared), rest = shared & (shared - 1);
    unsigned two = (unsigned)__builtin_ctz(rest);
    return (two / 3 + two % 3 + 6 - one / 3 - one % 3) % 3 == 0;
}

static void corners_of(const struct mesh *mesh, uint32_t id, struct vec corner[3])
{
    for (int c = 0; c < 3; c++)
        corner[c] = point_vec(mesh_point(mesh)[mesh_triangle(mesh)[id].v[c]]);
}

static void decide(struct finder *finder, uint32_t first, uint32_t second, shared_corners shared)
{
    struct vec a[3], b[3];
    corners_of(finder->mesh, first, a);
    corners_of(finder->mesh, second, b);
    if (triangles_meet(a, b, shared))
        found(finder, first, second);
}

static float span_of(const struct group *group, const struct face *face)
{
    lanes span = lanes_max(group->high, face->max) - lanes_min(group->low, face->min);
    float most = span[0] > span[1] ? span[0] : span[1];
    return span[2] > most ? span[2] : most;
}

/* The item at `place` in the tree's order against those of the group that stand before it. */
static void try_item(struct finder *finder, uint32_t place)
{
    const struct group *group = &finder->group;
    uint32_t id = tree_item(finder->tree, place);
    struct face face = load_face(finder->mesh, id, group->origin);
    float span = span_of(group, &face);
    unsigned ahead = place - group->first < GROUP ? place - group->first : GROUP;
    unsigned leaves = boxes_meeting(group->leaf_min[0], group->leaf_max[0], QUADS, &face);
    for (; leaves; leaves &= leaves - 1) {
        unsigned at = 4 * (unsigned)__builtin_ctz(leaves);
        unsigned among =
            at < ahead ? boxes_meeting(group->min[0] + at, group->max[0] + at, GROUP, &face) : 0;
        among &= ahead - at < 4 ? (1u << (ahead - at)) - 1 : 15;
        if (!among)
            continue;
        int_lanes shared = shared_of(group, at, &face);
        unsigned fine = lanes_bits(unfolded(group, at, &face, span, shared));
        among &= ~lanes_bits(parted(group, at, &face, span, shared));
        for (; among; among &= among - 1) {
            unsigned c = (unsigned)__builtin_ctz(among), common = (unsigned)shared[c];
            if (!(fine >> c & 1 && neighbours(common)))
                decide(finder, group->id[at + c], id, common);
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
        uint32_t part = items - first < 256 * GROUP ? items - first : 256 * GROUP;
        if (first / GROUP % 256 == 0 && !job_step(finder->job, part))
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
