/* What rounding did, mended: at the end nothing near the cut crosses or touches itself.
 *
 * New vertices are off by half a unit in the last place, so what was thinner than that may fold.
 * First edges shorter than a few units are drawn together (where that leaves a manifold: the link
 * condition of Dey, Edelsbrunner, Guha & Nekhayev 1999). Then, as long
 * as triangles cross, round by round with a greater distance: the shortest edges of the thin ones
 * among them are drawn together, the others' vertices moved back, and solids as thin as a film
 * dropped. */
#include <stdlib.h>

#include "core/closest.h"
#include "core/crossings.h"
#include "solid/graft.h"

void graft_release(struct graft *p)
{
    scratch_free(p->from);
    scratch_free(p->corner);
    scratch_free(p->ref);
    scratch_free(p->at);
    scratch_free(p->whole);
    scratch_free(p->locked);
    scratch_free(p->start);
    scratch_free(p->star);
}

bool graft_new(struct graft *p, size_t triangles)
{
    size_t corners = 3 * triangles;
    p->triangles = triangles;
    p->from = scratch_new(triangles, sizeof *p->from);
    p->corner = scratch_new(corners, sizeof *p->corner);
    p->ref = scratch_new(corners, sizeof *p->ref);
    p->at = scratch_new(corners, sizeof *p->at);
    p->whole = scratch_new(corners, 1);
    p->locked = scratch_new(corners, 1);
    p->start = scratch_new(corners + 1, sizeof *p->start);
    p->star = scratch_new(corners, sizeof *p->star);
    if (!p->from || !p->corner || !p->ref || !p->at || !p->whole || !p->locked || !p->start ||
        !p->star) {
        job_fail_memory(p->job, corners * 44);
        return false;
    }
    for (size_t t = 0; t < triangles; t++)
        p->from[t] = (uint32_t)t;
    return true;
}

static int ref_order(const void *x, const void *y)
{
    uint32_t a = *(const uint32_t *)x, b = *(const uint32_t *)y;
    return (a > b) - (a < b);
}

uint32_t graft_vertex(const struct graft *p, uint32_t ref)
{
    const uint32_t *found = bsearch(&ref, p->ref, p->vertices, sizeof ref, ref_order);
    return found ? (uint32_t)(found - p->ref) : NO_INDEX;
}

void graft_number(struct graft *p)
{
    size_t corners = 3 * p->triangles;
    memcpy(p->ref, p->corner, corners * sizeof *p->ref);
    if (corners)
        qsort(p->ref, corners, sizeof *p->ref, ref_order);
    for (size_t i = 0; i < corners; i++)
        if (!p->vertices || p->ref[p->vertices - 1] != p->ref[i])
            p->ref[p->vertices++] = p->ref[i];
    for (size_t i = 0; i < corners; i++)
        p->corner[i] = graft_vertex(p, p->corner[i]);
}

void graft_stars(struct graft *p)
{
    memset(p->start, 0, (p->vertices + 1) * sizeof *p->start);
    for (size_t i = 0; i < 3 * p->triangles; i++)
        if (p->corner[i] != NO_INDEX)
            p->start[p->corner[i] + 1]++;
    for (size_t v = 0; v < p->vertices; v++)
        p->start[v + 1] += p->start[v];
    for (size_t i = 3 * p->triangles; i-- > 0;) /* each start moves on, then all move back */
        if (p->corner[i] != NO_INDEX)
            p->star[--p->start[p->corner[i] + 1]] = (uint32_t)i;
    memmove(p->start, p->start + 1, p->vertices * sizeof *p->start);
    p->start[p->vertices] = 0;
    for (size_t i = 0; i < 3 * p->triangles; i++)
        p->start[p->vertices] += p->corner[i] != NO_INDEX;
}

/* --- drawing edges together --------------------------------------------------------------------
 */

/* How many triangles around u have w, and how many neighbours of u are neighbours of w. */
static void count_common(const struct graft *p, uint32_t u, uint32_t w, int *triangles, int *common)
{
    *triangles = *common = 0;
    for (uint32_t i = p->start[u]; i < p->start[u + 1]; i++) {
        uint32_t x = beside(p, p->star[i], 1); /* each neighbour once */
        *triangles += x == w || beside(p, p->star[i], 2) == w;
        bool is = false;
        for (uint32_t k = p->start[w]; k < p->start[w + 1] && x != w; k++)
            is = is || beside(p, p->star[k], 1) == x || beside(p, p->star[k], 2) == x;
        *common += is;
    }
}

static bool untouched_here(const struct graft *p, uint32_t v)
{
    bool untouched = p->whole[v] && !p->locked[v];
    for (uint32_t i = p->start[v]; i < p->start[v + 1] && untouched; i++)
        untouched = !p->locked[beside(p, p->star[i], 1)] && !p->locked[beside(p, p->star[i], 2)];
    return untouched;
}

static void lock_around(struct graft *p, uint32_t v)
{
    p->locked[v] = 1;
    for (uint32_t i = p->start[v]; i < p->start[v + 1]; i++)
        p->locked[beside(p, p->star[i], 1)] = 1;
    p->changed = true;
}

/* A tetrahedron with an edge as short holds nothing: it goes. */
static bool drop_tetrahedron(struct graft *p, uint32_t u, uint32_t w)
{
    if (p->start[u + 1] - p->start[u] != 3 || p->start[w + 1] - p->start[w] != 3)
        return false;
    uint32_t at = p->star[p->start[u]], next = beside(p, at, 1), last = beside(p, at, 2);
    uint32_t other = next == w ? last : next;
    if (p->start[next + 1] - p->start[next] != 3 || p->start[last + 1] - p->start[last] != 3)
        return false;
    lock_around(p, u);
    for (uint32_t i = p->start[u]; i < p->start[u + 1]; i++)
        drop(p, p->star[i] / 3);
    for (uint32_t i = p->start[other]; i < p->start[other + 1]; i++)
        drop(p, p->star[i] / 3);
    for (uint32_t i = p->start[w]; i < p->start[w + 1]; i++)
        drop(p, p->star[i] / 3);
    return true;
}

static bool is_old(const struct graft *p, uint32_t v)
{
    return p->ref[v] < p->made;
}

/* Puts u where w is, when both are whole and a manifold stays; else the other way round. */
static bool draw_together(struct graft *p, uint32_t u, uint32_t w)
{
    if (is_old(p, u) || (!is_old(p, w) && u < w)) {
        uint32_t x = u;
        u = w;
        w = x;
    }
    int triangles, common;
    if (is_old(p, u) || !untouched_here(p, u) || !untouched_here(p, w))
        return false;
    count_common(p, u, w, &triangles, &common);
    if (triangles != 2 || common != 2)
        return false;
    if (drop_tetrahedron(p, u, w))
        return true;
    if (p->start[u + 1] - p->start[u] == 3 && p->start[w + 1] - p->start[w] == 3)
        return false;
    lock_around(p, u);
    lock_around(p, w);
    for (uint32_t i = p->start[u]; i < p->start[u + 1]; i++) {
        uint32_t at = p->star[i];
        if (beside(p, at, 1) == w || beside(p, at, 2) == w)
            drop(p, at / 3);
        else
            p->corner[at] = w;
    }
    return true;
}

/* Draws together all edges no longer than that. */
static enum status draw_short(struct graft *p, double least)
{
    bool any = true;
    for (int pass = 0; pass < 32 && any; pass++) {
        any = false;
        memset(p->locked, 0, p->vertices);
        for (uint32_t at = 0; at < 3 * p->triangles; at++) {
            uint32_t u = p->corner[at], w = u == NO_INDEX ? u : beside(p, at, 1);
            if (u != NO_INDEX && vec_length2(vec_sub(p->at[u], p->at[w])) <= least * least)
                any = draw_together(p, u, w) || any;
        }
        if (any)
            graft_stars(p);
        if (job_cancelled(p->job))
            return job_fail_cancelled(p->job);
    }
    return STATUS_OK;
}

/* --- vertices moved ----------------------------------------------------------------------------
 */

/* Towards the faces around the vertex, as far as they do not lie around it: a tip's base. */
static struct vec back(const struct graft *p, uint32_t v)
{
    struct vec sum = {0};
    uint32_t count = p->start[v + 1] - p->start[v];
    for (uint32_t i = p->start[v]; i < p->start[v + 1]; i++)
        sum = vec_add(sum, vec_unit(vec_sub(p->at[beside(p, p->star[i], 1)], p->at[v])));
    return vec_length(sum) > 0.02 * count ? vec_unit(sum) : vec(0, 0, 0);
}

static void move_back(struct graft *p, uint32_t v, double by)
{
    if (p->still || !p->whole[v] || p->locked[v])
        return;
    p->locked[v] = 1;
    p->changed = true;
    p->at[v] = point_vec(vec_point(vec_along(p->at[v], by, back(p, v))));
}

/* Of vertices in one place all but the first are moved. */
static enum status part_places(struct graft *p, double by)
{
    uint32_t *order;
    size_t used;
    enum status status = graft_places(p, &order, &used);
    memset(p->locked, 0, p->vertices);
    struct vec first = used ? p->at[order[0]] : vec(0, 0, 0);
    int steps = 0;
    for (size_t i = 1; i < used; i++) {
        steps = same_place(first, p->at[order[i]]) ? steps + 1 : 0;
        if (steps)
            move_back(p, order[i], steps * by);
        else
            first = p->at[order[i]];
    }
    scratch_free(order);
    return status;
}

/* --- crossings ---------------------------------------------------------------------------------
 */

static struct mesh *graft_mesh(const struct graft *p, uint32_t *triangle_of)
{
    size_t count = 0;
    for (size_t t = 0; t < p->triangles; t++)
        if (p->corner[3 * t] != NO_INDEX)
            triangle_of[count++] = (uint32_t)t;
    struct mesh *mesh = mesh_new(p->vertices, count);
    if (!mesh)
        return NULL;
    for (size_t v = 0; v < p->vertices; v++)
        mesh_point_edit(mesh)[v] = vec_point(p->at[v]);
    for (size_t t = 0; t < count; t++)
        for (int k = 0; k < 3; k++)
            mesh_triangle_edit(mesh)[t].v[k] = p->corner[3 * triangle_of[t] + (uint32_t)k];
    return mesh;
}

/* The height of a triangle and its shortest edge. */
static double thickness(const struct graft *p, uint32_t t, double *shortest)
{
    struct vec c[3];
    double longest = 0;
    *shortest = INFINITY;
    for (uint32_t k = 0; k < 3; k++)
        c[k] = p->at[p->corner[3 * t + k]];
    for (int k = 0; k < 3; k++) {
        double length = vec_length(vec_sub(c[k], c[(k + 1) % 3]));
        longest = fmax(longest, length);
        *shortest = fmin(*shortest, length);
    }
    double area2 = vec_length(vec_cross(vec_sub(c[1], c[0]), vec_sub(c[2], c[0])));
    return longest > 0 ? area2 / longest : 0;
}

static bool has_corner(const struct graft *p, uint32_t t, uint32_t v)
{
    const uint32_t *corner = &p->corner[3 * t];
    return corner[0] == v || corner[1] == v || corner[2] == v;
}

/* Moves the corners of t that are near the other triangle. */
static void move_near(struct graft *p, uint32_t t, uint32_t other, double by)
{
    struct vec c[3];
    for (uint32_t k = 0; k < 3; k++)
        c[k] = p->at[p->corner[3 * other + k]];
    for (uint32_t k = 0; k < 3; k++) {
        uint32_t v = p->corner[3 * t + k];
        if (!has_corner(p, other, v) && closest_distance2(p->at[v], c) <= 64 * by * by)
            move_back(p, v, by);
    }
}

static void mend_crossing(struct graft *p, const uint32_t pair[2], double by)
{
    for (int i = 0; i < 2; i++) {
        uint32_t t = pair[i];
        double shortest;
        if (p->corner[3 * t] == NO_INDEX || thickness(p, t, &shortest) > by)
            continue;
        for (uint32_t k = 0; k < 3 && p->corner[3 * t] != NO_INDEX; k++) {
            uint32_t u = p->corner[3 * t + k], w = p->corner[3 * t + (k + 1) % 3];
            if (vec_length(vec_sub(p->at[u], p->at[w])) <= fmax(shortest, by) &&
                shortest <= 4 * by && draw_together(p, u, w))
                return;
        }
    }
    if (p->corner[3 * pair[0]] != NO_INDEX && p->corner[3 * pair[1]] != NO_INDEX) {
        move_near(p, pair[0], pair[1], by);
        move_near(p, pair[1], pair[0], by);
    }
}

enum { PAIRS_MOST = 100000 };

/* The pairs of triangles that cross, up to so many, and how many there are; free(*pair). */
static enum status find_crossings(const struct graft *p, size_t most, struct crossing **pair,
                                  size_t *kept, uint64_t *count)
{
    uint32_t *triangle_of = scratch_new(p->triangles, sizeof *triangle_of);
    struct mesh *mesh = triangle_of ? graft_mesh(p, triangle_of) : NULL;
    *pair = NULL;
    *kept = 0;
    *count = 0;
    enum status status = mesh ? crossings_find(mesh, most, pair, kept, count, p->job)
                              : job_fail_memory(p->job, p->triangles * 64);
    for (size_t i = 0; i < *kept; i++)
        (*pair)[i] = (struct crossing){triangle_of[(*pair)[i].a], triangle_of[(*pair)[i].b]};
    mesh_free(mesh);
    scratch_free(triangle_of);
    return status;
}

static enum status mend_crossings(struct graft *p, double by, uint64_t *count)
{
    struct crossing *pair;
    size_t kept;
    enum status status = find_crossings(p, PAIRS_MOST, &pair, &kept, count);
    memset(p->locked, 0, p->vertices);
    for (size_t i = 0; i < kept && status == STATUS_OK; i++)
        mend_crossing(p, (uint32_t[2]){pair[i].a, pair[i].b}, by);
    free(pair);
    return status;
}

enum status graft_crossings(const struct graft *p, uint64_t *count)
{
    struct crossing *pair;
    size_t kept;
    enum status status = find_crossings(p, 0, &pair, &kept, count);
    free(pair);
    return status;
}

enum { ROUNDS = 7 };

enum status graft_settle(struct graft *p, double grain, uint64_t *faults)
{
    enum status status = STATUS_OK;
    double by = 2 * grain;
    *faults = 1;
    graft_stars(p);
    for (int round = 0; round < ROUNDS && *faults && status == STATUS_OK; round++, by *= 1.6) {
        status = draw_short(p, by);
        if (status == STATUS_OK)
            status = part_places(p, by);
        if (status == STATUS_OK)
            status = mend_crossings(p, by, faults);
        if (status == STATUS_OK && *faults && round > 1)
            status = graft_drop_films(p, 2 * by);
        if (status == STATUS_OK && *faults)
            graft_stars(p);
    }
    if (status == STATUS_OK && !*faults)
        status = graft_faults(p, faults);
    return status;
}
