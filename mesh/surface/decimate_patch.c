#include "surface/decimate_patch.h"

#include <string.h>

#include "surface/decimate_guard.h"
#include "surface/decimate_judge.h"
#include "surface/decimate_quadric.h"
#include "surface/decimate_star.h"
#include "surface/decimate_trail.h"

/* --- building -------------------------------------------------------------------------------- */

struct fans { /* the half-edges leaving each vertex */
    uint32_t *start, *half;
    uint32_t *seen_to, *seen_from; /* one a vertex: which vertex saw it last */
    uint32_t *slot;                /* one a vertex: the half-edge from that vertex to it */
};

static void fans_release(struct fans *f)
{
    scratch_free(f->start);
    scratch_free(f->half);
    scratch_free(f->seen_to);
    scratch_free(f->seen_from);
    scratch_free(f->slot);
}

static bool is_folded(const uint32_t *corner) /* a triangle with a vertex twice */
{
    return corner[0] == corner[1] || corner[1] == corner[2] || corner[2] == corner[0];
}

static bool fans_make(struct fans *f, struct patch *p)
{
    size_t n = p->vertices;
    f->start = scratch_new(n + 2, sizeof *f->start);
    f->half = scratch_new(3 * p->triangles, sizeof *f->half);
    f->seen_to = scratch_new(n, sizeof *f->seen_to);
    f->seen_from = scratch_new(n, sizeof *f->seen_from);
    f->slot = scratch_new(n, sizeof *f->slot);
    if (!f->start || !f->half || !f->seen_to || !f->seen_from || !f->slot)
        return false;
    memset(f->start, 0, (n + 2) * sizeof *f->start);
    memset(f->seen_to, 255, n * sizeof *f->seen_to);
    memset(f->seen_from, 255, n * sizeof *f->seen_from);
    for (size_t t = 0; t < p->triangles; t++) {
        bool folded = is_folded(p->corner + 4 * t);
        for (size_t k = 0; k < 3; k++) {
            uint32_t v = p->corner[4 * t + k];
            if (folded)
                p->mobility[v] = LOCKED;
            else
                f->start[v + 2]++;
        }
    }
    for (size_t v = 2; v < n + 2; v++)
        f->start[v] += f->start[v - 1];
    for (size_t t = 0; t < p->triangles; t++)
        for (size_t k = 0; k < 3 && !is_folded(p->corner + 4 * t); k++)
            f->half[f->start[p->corner[4 * t + k] + 1]++] = (uint32_t)(4 * t + k);
    return true;
}

/* Finds the twins of the half-edges that come to v, and locks both ends of an edge that more than
 * one half-edge runs the same way. */
static void pair_at(struct patch *p, struct fans *f, uint32_t v)
{
    for (uint32_t i = f->start[v]; i < f->start[v + 1]; i++) {
        uint32_t x = edge_to(p, f->half[i]);
        if (f->seen_to[x] == v)
            p->mobility[x] = p->mobility[v] = LOCKED;
        f->seen_to[x] = v;
        f->slot[x] = f->half[i];
    }
    for (uint32_t i = f->start[v]; i < f->start[v + 1]; i++) {
        uint32_t in = edge_before(f->half[i]), x = edge_from(p, in);
        if (f->seen_from[x] == v)
            p->mobility[x] = p->mobility[v] = LOCKED;
        f->seen_from[x] = v;
        p->twin[in] = f->seen_to[x] == v ? f->slot[x] : NO_INDEX;
    }
}

/* Where the fan of v starts; what kind of vertex it is. */
static void classify(struct patch *p, const struct fans *f, uint32_t v, bool keep_rim)
{
    uint32_t degree = f->start[v + 1] - f->start[v], count = 0;
    p->node[v].half = NO_INDEX;
    if (!degree)
        p->mobility[v] = LOCKED;
    if (p->mobility[v] == LOCKED)
        return;
    uint32_t first = f->half[f->start[v]];
    for (uint32_t i = f->start[v]; i < f->start[v + 1]; i++)
        if (p->twin[f->half[i]] == NO_INDEX) {
            first = f->half[i];
            p->mobility[v] = keep_rim ? PINNED : RIM;
        }
    p->node[v].half = first;
    uint32_t h = first;
    do {
        count++;
        h = edge_around(p, h);
    } while (h != first && h != NO_INDEX && count <= degree);
    if (count != degree) /* more than one fan */
        p->mobility[v] = LOCKED;
}

static void cost_edge(struct patch *p, uint32_t h)
{
    uint32_t a = edge_from(p, h), b = edge_to(p, h);
    uint8_t ma = p->mobility[a], mb = p->mobility[b];
    bool rim = p->twin[h] == NO_INDEX;
    float cost = INFINITY;
    if (ma < LOCKED && mb < LOCKED && (ma == MOVES || mb == MOVES || (rim && ma + mb < 2 * PINNED)))
        cost = (float)quadric_solve(p, a, b).cost;
    edge_set_cost(p, edge_keeper(p, h), cost < INFINITY ? cost : INFINITY); /* not a number: none */
}

/* In one block, which is large enough to go back to the system at once when it is freed. */
static bool make_work(struct patch *p)
{
    size_t halves = 4 * p->triangles;
    p->work = scratch_new(2 * halves + p->vertices, sizeof(uint32_t));
    if (!p->work)
        return false;
    p->twin = p->work;
    p->cost = (float *)p->work + halves;
    p->stamp = (uint32_t *)p->work + 2 * halves;
    return true;
}

void patch_finish(struct patch *p)
{
    scratch_free(p->work);
    scratch_free(p->flat);
    p->work = p->twin = p->stamp = NULL;
    p->cost = NULL;
    p->flat = NULL;
}

bool patch_build(struct patch *p, bool keep_rim)
{
    struct fans fans = {0};
    size_t halves = 4 * p->triangles;
    p->left = p->triangles;
    bool ok = make_work(p) && fans_make(&fans, p);
    if (ok) {
        memset(p->stamp, 0, p->vertices * sizeof *p->stamp);
        memset(p->twin, 255, halves * sizeof *p->twin);
        for (size_t v = 0; v < p->vertices; v++)
            pair_at(p, &fans, (uint32_t)v);
        for (size_t v = 0; v < p->vertices; v++)
            classify(p, &fans, (uint32_t)v, keep_rim);
        quadric_sum(p);
        if (p->tint)
            tint_sum(p);
        for (size_t h = 0; h < halves; h++)
            p->cost[h] = INFINITY;
        for (size_t h = 0; h < halves; h++)
            if ((h & 3) != 3 && edge_keeper(p, (uint32_t)h) == h)
                cost_edge(p, (uint32_t)h);
    }
    fans_release(&fans);
    return ok;
}

void patch_release(struct patch *p)
{
    patch_finish(p);
    scratch_free(p->corner);
    scratch_free(p->node);
    scratch_free(p->mobility);
    scratch_free(p->vertex_id);
    scratch_free(p->tint);
    *p = (struct patch){0};
}

static void cost_fan(struct patch *p, uint32_t v)
{
    uint32_t first = p->node[v].half, h = first, last;
    do {
        cost_edge(p, h);
        last = h;
        h = edge_around(p, h);
    } while (h != first && h != NO_INDEX);
    if (h == NO_INDEX)
        cost_edge(p, edge_before(last));
}

/* Collapses the edge of h if it still costs less than `below` and may go. */
static void try_edge(struct patch *p, uint32_t h, float below)
{
    uint32_t keep = h;
    if (p->mobility[edge_to(p, h)] > p->mobility[edge_from(p, h)])
        h = p->twin[h];
    uint32_t a = edge_from(p, h), b = edge_to(p, h);
    struct solution solution = quadric_solve(p, a, b);
    edge_set_cost(p, keep, (float)solution.cost);
    if (!((float)solution.cost < below))
        return;
    edge_set_cost(p, keep, INFINITY); /* until something around it changes */
    if (!link_allows(p, h))
        return;
    struct star star;
    star_make(p, h, point_vec(vec_point(vec_add(node_at(p, a), solution.at))), &star);
    if (p->flats->count && p->mobility[a] == p->mobility[b])
        star_flatten(p, &star);
    if (!star_allows(p, &star))
        return;
    if (p->guard && !guard_allows(p->guard, p, &star))
        return;
    if (p->judge && !judge_allows(p->judge, p, &star))
        return;
    if (p->trail && !trail_part_reserve(p->trail, &star))
        return;
    if (p->trail)
        trail_part_add(p->trail, p, &star);
    if (p->tint)
        tint_collapse(p, &star);
    star_collapse(p, &star);
    if (p->guard)
        guard_follow(p->guard, p, &star);
    cost_fan(p, a);
}

size_t patch_sweep(struct patch *p, float below, size_t most)
{
    size_t left = p->left;
    for (size_t t = 0; t < p->triangles && left - p->left + 1 < most; t++)
        for (size_t k = 0; p->cost[4 * t + 3] < below && k < 3; k++)
            if (p->cost[4 * t + k] < below)
                try_edge(p, (uint32_t)(4 * t + k), below);
    return left - p->left;
}

void patch_histogram(const struct patch *p, uint32_t *slots)
{
    for (size_t t = 0; t < p->triangles; t++)
        if (p->cost[4 * t + 3] < INFINITY)
            slots[cost_slot(p->cost[4 * t + 3])]++;
}

size_t patch_count(const struct patch *p, float below)
{
    size_t count = 0;
    for (size_t t = 0; t < p->triangles; t++)
        count += p->cost[4 * t + 3] < below;
    return count;
}
