/* Edges linked into closed contours. */
#include <stdlib.h>
#include <string.h>

#include "core/contour_parts.h"

struct ends { /* edges by the point they leave and by the point they reach */
    uint32_t *out_start, *out, *in_start, *in;
};

struct spoke { /* an edge as seen from one of its points */
    const double *from, *to;
    uint32_t edge;
    bool out;
};

/* --- memory -------------------------------------------------------------------------------- */

void chain_release(struct chain *chain)
{
    scratch_free(chain->point);
    scratch_free(chain->next);
    scratch_free(chain->prev);
    scratch_free(chain->partner);
    scratch_free(chain->sibling);
    scratch_free(chain->loop);
    scratch_free(chain->first);
    *chain = (struct chain){0};
}

static bool chain_reserve(struct chain *chain, size_t edges)
{
    /* A hole needs three edges, a slit two, and its bridge two nodes. */
    chain->room = 2 * edges;
    uint32_t **lists[] = {&chain->point,   &chain->next,    &chain->prev,
                          &chain->partner, &chain->sibling, &chain->loop};
    bool ok = true;
    for (size_t i = 0; i < sizeof lists / sizeof *lists; i++) {
        *lists[i] = scratch_new(chain->room, sizeof(uint32_t));
        ok = ok && *lists[i];
    }
    chain->first = scratch_new(edges / 2 + 1, sizeof *chain->first);
    if (!ok || !chain->first)
        return false;
    memset(chain->next, 255, chain->room * sizeof *chain->next);
    memset(chain->prev, 255, chain->room * sizeof *chain->prev);
    memset(chain->partner, 255, chain->room * sizeof *chain->partner);
    memset(chain->loop, 255, chain->room * sizeof *chain->loop);
    return true;
}

static void ends_release(struct ends *ends)
{
    scratch_free(ends->out_start);
    scratch_free(ends->out);
    scratch_free(ends->in_start);
    scratch_free(ends->in);
}

static void sort_ends(const struct contours *contours, int end, uint32_t *start, uint32_t *list)
{
    memset(start, 0, (contours->points + 1) * sizeof *start);
    for (size_t e = 0; e < contours->edges; e++)
        start[contours->edge[e][end]]++;
    uint32_t sum = 0;
    for (size_t p = 0; p <= contours->points; p++) {
        sum += start[p];
        start[p] = sum;
    }
    for (size_t e = contours->edges; e-- > 0;)
        list[--start[contours->edge[e][end]]] = (uint32_t)e;
}

static bool ends_make(const struct contours *contours, struct ends *ends)
{
    ends->out_start = scratch_new(contours->points + 1, sizeof *ends->out_start);
    ends->in_start = scratch_new(contours->points + 1, sizeof *ends->in_start);
    ends->out = scratch_new(contours->edges, sizeof *ends->out);
    ends->in = scratch_new(contours->edges, sizeof *ends->in);
    if (!ends->out_start || !ends->in_start || !ends->out || !ends->in)
        return false;
    sort_ends(contours, 0, ends->out_start, ends->out);
    sort_ends(contours, 1, ends->in_start, ends->in);
    return true;
}

/* --- who goes on along which edge ---------------------------------------------------------- */

/* 0: to the right or up, 1: to the left or down, -1: nowhere (the two points coincide). */
static int spoke_half(const struct spoke *s)
{
    double x = s->to[0] - s->from[0], y = s->to[1] - s->from[1];
    if (x == 0 && y == 0)
        return -1;
    return y > 0 || (y == 0 && x > 0) ? 0 : 1;
}

/* Clockwise. Of two in the same direction the one that leaves comes first: a slit then closes one
 * corner of the region and opens the next. */
static int spoke_order(const void *x, const void *y)
{
    const struct spoke *a = x, *b = y;
    int p = spoke_half(a), q = spoke_half(b);
    if (p != q)
        return p > q ? -1 : 1;
    int turn = p < 0 ? 0 : exact_turn(a->from, a->to, b->to);
    if (turn != 0)
        return turn < 0 ? -1 : 1;
    if (a->out != b->out)
        return a->out ? -1 : 1;
    return a->edge < b->edge ? -1 : a->edge > b->edge;
}

/* The place to begin at so that going round never closes a corner that was not opened. */
static size_t quiet_place(const struct spoke *spoke, size_t count)
{
    size_t place = 0;
    long depth = 0, least = 0;
    for (size_t i = 0; i < count; i++) {
        depth += spoke[i].out ? -1 : 1;
        if (depth < least) {
            least = depth;
            place = i + 1;
        }
    }
    return place % count;
}

/* Arriving edges open a corner of the region on their left, which, going clockwise, the next
 * leaving edge closes that is not the end of a corner opened later. */
static void link_spokes(struct chain *chain, struct spoke *spoke, size_t count, uint32_t *opened)
{
    qsort(spoke, count, sizeof *spoke, spoke_order);
    size_t place = quiet_place(spoke, count), depth = 0;
    for (size_t i = 0; i < count; i++) {
        const struct spoke *s = &spoke[(place + i) % count];
        if (!s->out)
            opened[depth++] = s->edge;
        else if (depth > 0)
            chain->next[opened[--depth]] = s->edge;
    }
}

static size_t gather_spokes(const struct contours *contours, const struct ends *ends, size_t p,
                            struct spoke *spoke)
{
    size_t count = 0;
    for (uint32_t i = ends->out_start[p]; i < ends->out_start[p + 1]; i++) {
        uint32_t e = ends->out[i];
        spoke[count++] =
            (struct spoke){contours->at[p], contours->at[contours->edge[e][1]], e, true};
    }
    for (uint32_t i = ends->in_start[p]; i < ends->in_start[p + 1]; i++) {
        uint32_t e = ends->in[i];
        spoke[count++] =
            (struct spoke){contours->at[p], contours->at[contours->edge[e][0]], e, false};
    }
    return count;
}

static size_t most_spokes(const struct contours *contours, const struct ends *ends)
{
    size_t most = 0;
    for (size_t p = 0; p < contours->points; p++) {
        size_t n =
            ends->out_start[p + 1] - ends->out_start[p] + ends->in_start[p + 1] - ends->in_start[p];
        most = n > most ? n : most;
    }
    return most;
}

static bool link_edges(const struct contours *contours, const struct ends *ends,
                       struct chain *chain)
{
    size_t most = most_spokes(contours, ends);
    struct spoke *spoke = scratch_new(most, sizeof *spoke);
    uint32_t *opened = scratch_new(most, sizeof *opened);
    for (size_t p = 0; p < contours->points && spoke && opened; p++) {
        uint32_t out = ends->out_start[p], in = ends->in_start[p];
        uint32_t outs = ends->out_start[p + 1] - out, ins = ends->in_start[p + 1] - in;
        if (outs == 1 && ins == 1)
            chain->next[ends->in[in]] = ends->out[out];
        else if (outs && ins)
            link_spokes(chain, spoke, gather_spokes(contours, ends, p, spoke), opened);
    }
    bool ok = spoke && opened;
    scratch_free(spoke);
    scratch_free(opened);
    return ok;
}

/* --- closed contours ----------------------------------------------------------------------- */

static void drop_open(struct chain *chain)
{
    for (size_t e = 0; e < chain->nodes; e++)
        if (chain->next[e] != NO_INDEX)
            chain->prev[chain->next[e]] = (uint32_t)e;
    for (size_t e = 0; e < chain->nodes; e++) {
        if (chain->prev[e] != NO_INDEX)
            continue;
        for (uint32_t n = (uint32_t)e, after; n != NO_INDEX; n = after) { /* a path's beginning */
            after = chain->next[n];
            chain->next[n] = NO_INDEX;
        }
    }
}

static void number_loops(struct chain *chain)
{
    for (size_t e = 0; e < chain->nodes; e++) {
        if (chain->next[e] == NO_INDEX || chain->loop[e] != NO_INDEX)
            continue;
        chain->first[chain->loops] = (uint32_t)e;
        for (uint32_t n = (uint32_t)e; chain->loop[n] == NO_INDEX; n = chain->next[n])
            chain->loop[n] = (uint32_t)chain->loops;
        chain->loops++;
    }
}

/* The nodes of closed contours at each point, in a circle. */
static void ring_siblings(struct chain *chain, const struct ends *ends, size_t points)
{
    for (size_t p = 0; p < points; p++) {
        uint32_t first = NO_INDEX, last = NO_INDEX;
        for (uint32_t i = ends->out_start[p]; i < ends->out_start[p + 1]; i++) {
            uint32_t n = ends->out[i];
            if (chain->loop[n] == NO_INDEX)
                continue;
            if (first == NO_INDEX)
                first = n;
            else
                chain->sibling[last] = n;
            last = n;
        }
        if (first != NO_INDEX)
            chain->sibling[last] = first;
    }
}

enum status chain_make(const struct contours *contours, struct chain *out, struct job *job)
{
    *out = (struct chain){.at = contours->at, .nodes = contours->edges};
    struct ends ends = {0};
    bool ok = chain_reserve(out, contours->edges) && ends_make(contours, &ends) &&
              link_edges(contours, &ends, out);
    if (ok) {
        for (size_t e = 0; e < contours->edges; e++)
            out->point[e] = contours->edge[e][0];
        drop_open(out);
        number_loops(out);
        ring_siblings(out, &ends, contours->points);
    } else {
        chain_release(out);
    }
    ends_release(&ends);
    return ok ? STATUS_OK : job_fail_memory(job, 8 * contours->edges * sizeof(uint32_t));
}

/* --- corners ------------------------------------------------------------------------------- */

static bool same_way(const double from[2], const double a[2], const double b[2])
{
    return (a[0] - from[0]) * (b[0] - from[0]) + (a[1] - from[1]) * (b[1] - from[1]) > 0;
}

bool chain_corner_holds(const struct chain *chain, uint32_t node, const double to[2])
{
    const double *a = chain->at[chain->point[chain->prev[node]]];
    const double *b = chain->at[chain->point[node]];
    const double *c = chain->at[chain->point[chain->next[node]]];
    int turn = exact_turn(a, b, c), first = exact_turn(a, b, to), second = exact_turn(b, c, to);
    if (turn > 0)
        return first > 0 && second > 0;
    if (turn < 0)
        return first > 0 || second > 0;
    if (same_way(b, a, c)) /* the end of a slit: all round */
        return first != 0 || !same_way(b, a, to);
    return first > 0;
}
