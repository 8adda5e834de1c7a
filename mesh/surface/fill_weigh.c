#include "surface/fill_weigh.h"

#include <float.h>
#include <stdlib.h>
#include <string.h>

#include "core/job.h"
#include "core/meet.h"

enum {
    FULL = 64,       /* so many edges are triangulated considering every chord */
    WINDOW = 3,      /* how far a chord's ends may lie from those of one of the level before */
    UNWANTED = 4096, /* how many triangles without area count as much as an edge that exists */
    CROSSING = 2,    /* and as one that crosses what is there, or a chord that does */
    FEW = 24,        /* triangles to be tested one by one */
    QUARTERINGS = 5
};

/* A chord cuts off the polygon low, low + 1, ... high; edges of the polygon are chords too. They
 * are kept by `high`, then `low`, both ascending. */
struct chords {
    size_t count;
    uint32_t *start; /* points + 1: chords with that high end */
    uint32_t *low;
    uint32_t *apex; /* the third corner of the triangle on the side cut off; NO_INDEX: an edge */
    uint32_t *bad;  /* of the best triangulation of what is cut off: what it should not have, */
    float *bend;    /* its sharpest bend, 1 - cosine (0 to 2), */
    double *size;   /* its area (FILL_FLAT: and edges) */
    struct vec *normal; /* of the triangle at the apex, unit; of an edge: of what lies across it */
    uint32_t *up_start; /* points + 1: the same chords by `low`, then `high` */
    uint32_t *up, *up_high;
};

struct level { /* the walk, or a thinned one */
    size_t count;
    uint32_t *vertex;
    struct vec *outer;
};

struct weighing {
    enum fill_shape shape;
    const struct clearing *clearing;
    struct patch *patch;
    const struct job *job;
    struct level level;
    struct chords chords;
};

static void chords_release(struct chords *c)
{
    free(c->start);
    free(c->low);
    free(c->apex);
    free(c->bad);
    free(c->bend);
    free(c->size);
    free(c->normal);
    free(c->up_start);
    free(c->up);
    free(c->up_high);
    *c = (struct chords){0};
}

/* --- which chords are considered ---------------------------------------------------------- */

static bool chords_room(struct chords *c, size_t count, size_t points)
{
    c->low = malloc((count + 1) * sizeof *c->low);
    c->apex = malloc((count + 1) * sizeof *c->apex);
    c->bad = malloc((count + 1) * sizeof *c->bad);
    c->bend = malloc((count + 1) * sizeof *c->bend);
    c->size = malloc((count + 1) * sizeof *c->size);
    c->normal = malloc((count + 1) * sizeof *c->normal);
    c->up = malloc((count + 1) * sizeof *c->up);
    c->up_high = malloc((count + 1) * sizeof *c->up_high);
    c->up_start = calloc(points + 2, sizeof *c->up_start);
    c->start = calloc(points + 2, sizeof *c->start);
    return c->low && c->apex && c->bad && c->bend && c->size && c->normal && c->up && c->up_high &&
           c->up_start && c->start;
}

static void index_up(struct chords *c, size_t points)
{
    for (size_t i = 0; i < c->count; i++)
        c->up_start[c->low[i] + 2]++;
    for (size_t v = 2; v <= points; v++)
        c->up_start[v] += c->up_start[v - 1];
    for (uint32_t high = 0; high < points; high++)
        for (uint32_t i = c->start[high]; i < c->start[high + 1]; i++) {
            uint32_t k = c->up_start[c->low[i] + 1]++;
            c->up[k] = i;
            c->up_high[k] = high;
        }
}

static bool all_chords(struct chords *c, size_t points)
{
    *c = (struct chords){0};
    if (!chords_room(c, points * (points - 1) / 2, points))
        return false;
    for (uint32_t high = 0; high < points; high++) {
        for (uint32_t low = 0; low < high; low++)
            c->low[c->count++] = low;
        c->start[high + 1] = (uint32_t)c->count;
    }
    index_up(c, points);
    return true;
}

/* Sorts keys high << 32 | low, both below `points`, and drops repeated ones: by one half, then the
 * other, counting. `spare` and `count` have room for as many keys, and for points + 1. */
static size_t sort_keys(uint64_t *key, size_t keys, size_t points, uint64_t *spare, uint32_t *count)
{
    for (int shift = 0; shift <= 32; shift += 32) {
        memset(count, 0, (points + 1) * sizeof *count);
        for (size_t i = 0; i < keys; i++)
            count[(uint32_t)(key[i] >> shift) + 1]++;
        for (size_t v = 0; v < points; v++)
            count[v + 1] += count[v];
        for (size_t i = 0; i < keys; i++)
            spare[count[(uint32_t)(key[i] >> shift)]++] = key[i];
        memcpy(key, spare, keys * sizeof *key);
    }
    size_t kept = 0;
    for (size_t i = 0; i < keys; i++)
        if (i == 0 || key[i] != key[i - 1])
            key[kept++] = key[i];
    return kept;
}

/* Keys of the chords near a used one, at the level of `points` points whose point 2 i is point i of
 * the level that used it. */
static size_t near_keys(uint64_t used, size_t points, uint64_t *key)
{
    int64_t n = (int64_t)points;
    size_t keys = 0;
    for (int s = -WINDOW; s <= WINDOW; s++)
        for (int t = -WINDOW; t <= WINDOW; t++) {
            int64_t a = (2 * (int64_t)(used & UINT32_MAX) + s + n) % n;
            int64_t b = (2 * (int64_t)(used >> 32) + t + n) % n;
            if (a != b)
                key[keys++] = (uint64_t)(a > b ? a : b) << 32 | (uint64_t)(a > b ? b : a);
        }
    return keys;
}

/* The edges of the polygon, and the chords near those that triangulate the level before. */
static bool near_chords(struct chords *c, size_t points, const uint64_t *used, size_t count)
{
    const size_t around = (2 * WINDOW + 1) * (2 * WINDOW + 1);
    size_t keys = 0, room = count * around + points + 1;
    uint64_t *key = malloc(room * sizeof *key), *spare = malloc(room * sizeof *spare);
    uint32_t *counts = malloc((points + 1) * sizeof *counts);
    *c = (struct chords){0};
    bool ok = key && spare && counts;
    for (uint32_t i = 0; i < points && ok; i++)
        key[keys++] = i + 1 < points ? (uint64_t)(i + 1) << 32 | i : (uint64_t)i << 32;
    for (size_t i = 0; i < count && ok; i++)
        keys += near_keys(used[i], points, key + keys);
    if (ok)
        c->count = sort_keys(key, keys, points, spare, counts);
    ok = ok && chords_room(c, c->count, points);
    for (size_t i = 0; i < c->count && ok; i++) {
        c->low[i] = (uint32_t)key[i];
        c->start[(key[i] >> 32) + 1]++;
    }
    for (size_t v = 0; v < points && ok; v++)
        c->start[v + 1] += c->start[v];
    if (ok)
        index_up(c, points);
    free(key);
    free(spare);
    free(counts);
    return ok;
}

/* --- weighing ----------------------------------------------------------------------------- */

struct best {
    uint32_t bad, apex;
    float bend;
    double size;
    struct vec normal;
};

static struct vec point(const struct weighing *w, uint32_t i)
{
    return w->patch->at[w->level.vertex[i]];
}

static float larger(float a, float b)
{
    return a > b ? a : b;
}

/* Between unit normals; one that is zero (there is no triangle) is not bent from. */
static float bend_of(struct vec a, struct vec b)
{
    return vec_length2(b) > 0 ? (float)(1 - vec_dot(a, b)) : 0;
}

static bool lighter(uint32_t bad, float bend, double size, const struct best *best)
{
    return bad < best->bad ||
           (bad == best->bad && (bend < best->bend || (bend <= best->bend && size < best->size)));
}

struct test { /* of a triangle against the mesh */
    const struct mesh *mesh;
    struct vec corner[3];
    uint32_t vertex[3]; /* of the mesh */
    int left;           /* so many more are looked at in a box */
    bool crosses;
};

static bool test_one(uint32_t triangle, void *context)
{
    struct test *test = context;
    const uint32_t *v = mesh_triangle(test->mesh)[triangle].v;
    struct vec at[3];
    shared_corners shared = 0;
    for (unsigned k = 0; k < 3; k++) {
        at[k] = point_vec(mesh_point(test->mesh)[v[k]]);
        for (unsigned i = 0; i < 3; i++)
            shared |= (shared_corners)(test->vertex[i] == v[k]) << (3 * i + k);
    }
    test->crosses = triangles_meet(test->corner, at, shared);
    return !test->crosses && --test->left != 0;
}

/* Looks at what lies in the box of the triangle's part a b c; where that is much, at what lies in
 * the boxes of its quarters, which together are far smaller. */
static void test_part(const struct tree *tree, struct test *test, const struct vec corner[3],
                      int quarterings)
{
    struct vec a = corner[0], b = corner[1], c = corner[2];
    struct vec min =
        vec(fmin(a.x, fmin(b.x, c.x)), fmin(a.y, fmin(b.y, c.y)), fmin(a.z, fmin(b.z, c.z)));
    struct vec max =
        vec(fmax(a.x, fmax(b.x, c.x)), fmax(a.y, fmax(b.y, c.y)), fmax(a.z, fmax(b.z, c.z)));
    test->left = quarterings > 0 ? FEW : -1;
    tree_box(tree, min, max, test_one, test);
    if (test->crosses || test->left != 0)
        return;
    struct vec ab = vec_scale(vec_add(a, b), 0.5), bc = vec_scale(vec_add(b, c), 0.5);
    struct vec ca = vec_scale(vec_add(c, a), 0.5);
    const struct vec quarter[4][3] = {{a, ab, ca}, {ab, b, bc}, {ca, bc, c}, {ab, bc, ca}};
    for (int i = 0; i < 4 && !test->crosses; i++)
        test_part(tree, test, quarter[i], quarterings - 1);
}

/* What lies on the surface, as the lid of a flat sheet does, has a triangle there under its middle:
 * found at once, among the many beside it. */
static void test_middle(const struct tree *tree, struct test *test)
{
    const struct vec *c = test->corner;
    struct vec at = vec_scale(vec_add(c[0], vec_add(c[1], c[2])), 1.0 / 3);
    test->left = FEW;
    tree_box(tree, at, at, test_one, test);
}

static bool crosses(const struct weighing *w, uint32_t low, uint32_t m, uint32_t high)
{
    const uint32_t at[3] = {low, m, high};
    if (!w->clearing)
        return false;
    struct test test = {.mesh = w->clearing->mesh};
    for (int k = 0; k < 3; k++) {
        test.corner[k] = point(w, at[k]);
        test.vertex[k] = w->patch->old[w->level.vertex[at[k]]];
    }
    if (!triangle_has_area(test.corner))
        return false; /* it meets nothing: of all that it lies along each would be asked exactly */
    test_middle(w->clearing->tree, &test);
    if (!test.crosses)
        test_part(w->clearing->tree, &test, test.corner, QUARTERINGS);
    return test.crosses;
}

/* Weighs the chord's triangle with apex m over the best of both sides, chords a and b. */
static void consider(const struct weighing *w, uint32_t low, uint32_t high, uint32_t m, uint32_t a,
                     uint32_t b, struct best *best)
{
    const struct chords *c = &w->chords;
    uint32_t bad = c->bad[a] + c->bad[b];
    float bend = larger(c->bend[a], c->bend[b]);
    double size = c->size[a] + c->size[b];
    if (!lighter(bad, bend, size, best))
        return;
    struct vec p = point(w, low), q = point(w, m), r = point(w, high);
    struct vec pq = vec_sub(q, p), pr = vec_sub(r, p), n = vec_cross(pq, pr);
    double area = vec_length(n);
    if (area > 1e-6 * vec_length2(pq) && area > 1e-6 * vec_length2(pr))
        n = vec_scale(n, 1 / area);
    else
        n = vec(0, 0, 0), bad++;
    size += area;
    if (w->shape == FILL_FLAT) {
        size += 1e-6 * vec_length2(pr);
    } else {
        bend = larger(bend, larger(bend_of(n, c->normal[a]), bend_of(n, c->normal[b])));
        if (low == 0 && high + 1 == w->level.count)
            bend = larger(bend, bend_of(n, w->level.outer[high]));
    }
    if (lighter(bad, bend, size, best) && crosses(w, low, m, high))
        bad += CROSSING;
    if (lighter(bad, bend, size, best))
        *best = (struct best){bad, m, bend, size, n};
}

/* The first position from `at` on in an ascending list of chords' ends that is not below `least`.
 */
static uint32_t skip_to(const uint32_t *list, uint32_t at, uint32_t end, uint32_t least)
{
    uint32_t step = 1;
    while (at + step < end && list[at + step] < least) {
        at += step;
        step *= 2;
    }
    uint32_t high = at + step < end ? at + step : end;
    while (at < high) {
        uint32_t middle = at + (high - at) / 2;
        if (list[middle] < least)
            at = middle + 1;
        else
            high = middle;
    }
    return at;
}

/* How much the chord as such is held against it. */
static uint32_t faults(const struct weighing *w, uint32_t low, uint32_t high)
{
    uint32_t a = w->level.vertex[low], b = w->level.vertex[high], count = 0;
    if (a == b ||
        !rims_may_join(w->patch->rims, w->patch->hole, w->patch->old[a], w->patch->old[b]))
        count += UNWANTED;
    struct vec at = point(w, low), along = vec_sub(point(w, high), at);
    if (w->clearing && tree_ray(w->clearing->tree, at, along, 1e-3, 1 - 1e-3).triangle != NO_INDEX)
        count += CROSSING;
    return count;
}

/* Finds the best apex of chord i, which has that high end. */
static void weigh_chord(struct weighing *w, uint32_t i, uint32_t high)
{
    struct chords *c = &w->chords;
    uint32_t low = c->low[i], b = i + 1, b_end = c->start[high + 1];
    uint32_t a = c->up_start[low], a_end = c->up_start[low + 1];
    struct best best = {UINT32_MAX, NO_INDEX, 3, DBL_MAX, vec(0, 0, 0)};
    if (low + 1 == high)
        best = (struct best){0, NO_INDEX, 0, 0, w->level.outer[low]};
    else
        while (a < a_end && b < b_end) {
            uint32_t x = c->up_high[a], y = c->low[b];
            if (x == y)
                consider(w, low, high, x, c->up[a++], b++, &best);
            else if (x < y)
                a = skip_to(c->up_high, a, a_end, y);
            else
                b = skip_to(c->low, b, b_end, x);
        }
    bool edge = low + 1 == high || (low == 0 && high + 1 == w->level.count);
    c->apex[i] = best.apex;
    c->bad[i] = best.bad + (edge ? 0 : faults(w, low, high));
    c->bend[i] = best.bend;
    c->size[i] = best.size;
    c->normal[i] = best.normal;
}

static bool weigh(struct weighing *w)
{
    for (uint32_t high = 1; high < w->level.count; high++) {
        for (uint32_t i = w->chords.start[high + 1]; i-- > w->chords.start[high];) {
            if (w->clearing && job_cancelled(w->job))
                return false; /* a chord may take long: its triangles are tested against the mesh */
            weigh_chord(w, i, high);
        }
        if (job_cancelled(w->job))
            return false;
    }
    return true;
}

static uint32_t find_chord(const struct chords *c, uint32_t low, uint32_t high)
{
    uint32_t i = c->start[high], end = c->start[high + 1];
    while (i < end) {
        uint32_t middle = i + (end - i) / 2;
        if (c->low[middle] < low)
            i = middle + 1;
        else
            end = middle;
    }
    return i;
}

/* --- levels ------------------------------------------------------------------------------- */

/* The walk at level k: every 2^k-th vertex; across an edge lies what lies across those it spans. */
static bool thin(const struct walk *walk, unsigned k, struct level *level)
{
    size_t step = (size_t)1 << k;
    level->count = (walk->count + step - 1) / step;
    level->vertex = malloc(level->count * sizeof *level->vertex);
    level->outer = malloc(level->count * sizeof *level->outer);
    if (!level->vertex || !level->outer)
        return false;
    for (size_t i = 0; i < level->count; i++) {
        struct vec sum = vec(0, 0, 0);
        for (size_t n = i * step; n < (i + 1) * step && n < walk->count; n++)
            sum = vec_add(sum, walk->outer[n]);
        level->vertex[i] = walk->vertex[i * step];
        level->outer[i] = k == 0 ? walk->outer[i] : vec_unit(sum);
    }
    return true;
}

static void level_release(struct level *level)
{
    free(level->vertex);
    free(level->outer);
    *level = (struct level){0};
}

/* The chords of the best triangulation of the level, edges included. */
static bool used_chords(const struct weighing *w, uint64_t **out, size_t *count)
{
    uint64_t *used = malloc(2 * w->level.count * sizeof *used);
    if (!used)
        return false;
    *count = 0;
    used[(*count)++] = (uint64_t)(w->level.count - 1) << 32;
    for (size_t i = 0; i < *count; i++) {
        uint32_t low = (uint32_t)used[i], high = (uint32_t)(used[i] >> 32);
        uint32_t m = w->chords.apex[find_chord(&w->chords, low, high)];
        if (m == NO_INDEX)
            continue;
        used[(*count)++] = (uint64_t)m << 32 | low;
        used[(*count)++] = (uint64_t)high << 32 | m;
    }
    *out = used;
    return true;
}

/* Weighs all levels down to the walk itself, whose chords stay in w. */
static bool weigh_levels(struct weighing *w, const struct walk *walk)
{
    unsigned k = 0;
    while ((walk->count - 1) >> k >= FULL)
        k++;
    uint64_t *used = NULL;
    size_t count = 0;
    for (bool first = true;; first = false, k--) {
        if (!thin(walk, k, &w->level))
            break;
        if (first ? !all_chords(&w->chords, w->level.count)
                  : !near_chords(&w->chords, w->level.count, used, count))
            break;
        free(used);
        used = NULL;
        if (!weigh(w))
            break;
        if (k == 0)
            return true;
        if (!used_chords(w, &used, &count))
            break;
        chords_release(&w->chords);
        level_release(&w->level);
    }
    free(used);
    return false;
}

/* --- the patch ---------------------------------------------------------------------------- */

struct open { /* a chord whose side is to be triangulated, and the half-edge across it */
    uint32_t low, high, half;
};

static bool write_triangles(const struct weighing *w, const struct walk *walk)
{
    struct patch *patch = w->patch;
    uint32_t last = (uint32_t)walk->count - 1;
    struct open *open = malloc((walk->count + 1) * sizeof *open);
    uint32_t *half = malloc(walk->count * sizeof *half); /* one an edge of the walk */
    bool ok = open && half && patch_reserve(patch, patch->vertices, walk->count);
    size_t opens = 0;
    if (ok)
        open[opens++] = (struct open){0, last, NO_INDEX};
    while (opens > 0) {
        struct open o = open[--opens];
        uint32_t m = w->chords.apex[find_chord(&w->chords, o.low, o.high)];
        if (m == NO_INDEX) {
            half[o.low] = o.half;
            continue;
        }
        uint32_t t = patch_add(patch, walk->vertex[o.low], walk->vertex[m], walk->vertex[o.high]);
        patch->twin[3 * t + 2] = o.half;
        if (o.half != NO_INDEX)
            patch->twin[o.half] = 3 * t + 2;
        open[opens++] = (struct open){o.low, m, 3 * t};
        open[opens++] = (struct open){m, o.high, 3 * t + 1};
    }
    if (ok)
        half[last] = 2; /* of the first triangle */
    for (size_t i = 0; i < walk->count && ok; i++)
        patch->twin[half[i]] = walk->mate[i] == NO_INDEX ? NO_INDEX : half[walk->mate[i]];
    free(open);
    free(half);
    return ok;
}

bool weigh_walk(const struct walk *walk, enum fill_shape shape, const struct clearing *clearing,
                struct patch *patch, const struct job *job)
{
    struct weighing w = {.shape = shape, .clearing = clearing, .patch = patch, .job = job};
    bool ok = weigh_levels(&w, walk) && write_triangles(&w, walk);
    chords_release(&w.chords);
    level_release(&w.level);
    return ok;
}
