/* A weakly simple polygon cut into triangles, ear by ear (G. H. Meisters, "Polygons Have Ears",
 * American Mathematical Monthly 82, 1975).
 *
 * The ear with the shortest cut goes first, so that small things are cut among themselves and the
 * polygon gets coarser evenly. A corner is an ear when no corner that turns the other way lies in
 * its triangle (those are kept in a tree of boxes, and put out as they straighten). A corner that
 * is blocked waits for the one that blocks it. When nothing but blocked corners is left, which
 * happens only where contours cross or coincide, the one with the shortest cut is cut by force. */
#include <stdlib.h>
#include <string.h>

#include "core/contour_parts.h"
#include "core/planar.h"

enum { LOOK = 1024 }; /* cuts between two looks at cancel */

enum rank { RANK_CORNER, RANK_BLOCKED, RANK_HOLLOW };

struct ears {
    struct ring *ring;
    uint32_t *next, *prev; /* next[i] is NO_INDEX once node i is cut off */
    uint32_t *behind;      /* the side across the polygon edge that begins here, or NO_INDEX */
    uint8_t *rank;         /* enum rank */
    double *cut;           /* squared length between its neighbours */
    uint32_t *heap, *place, heaped;    /* place[i] is NO_INDEX for a node not in the heap */
    uint32_t *waits_for, *queue;       /* whom a node waits for; who waits for it, the first */
    uint32_t *queue_next, *queue_prev; /* the others who wait for the same */
    struct planar hollows;             /* lit: corners that do not turn left */
    uint32_t left;
    bool desperate; /* nothing can be cut unless an edge is made twice */
};

/* --- memory -------------------------------------------------------------------------------- */

static void ears_release(struct ears *e)
{
    scratch_free(e->next);
    scratch_free(e->prev);
    scratch_free(e->behind);
    scratch_free(e->rank);
    scratch_free(e->cut);
    scratch_free(e->heap);
    scratch_free(e->place);
    scratch_free(e->waits_for);
    scratch_free(e->queue);
    scratch_free(e->queue_next);
    scratch_free(e->queue_prev);
    planar_release(&e->hollows);
}

static bool ears_make(struct ears *e, struct ring *ring)
{
    uint32_t n = ring->count;
    *e = (struct ears){.ring = ring, .left = n};
    uint32_t **lists[] = {&e->next,      &e->prev,  &e->behind,     &e->heap,      &e->place,
                          &e->waits_for, &e->queue, &e->queue_next, &e->queue_prev};
    bool ok = true;
    for (size_t i = 0; i < sizeof lists / sizeof *lists; i++) {
        *lists[i] = scratch_new(n, sizeof(uint32_t));
        ok = ok && *lists[i];
    }
    e->rank = scratch_new(n, sizeof *e->rank);
    e->cut = scratch_new(n, sizeof *e->cut);
    ok = ok && e->rank && e->cut &&
         planar_make(&e->hollows, (const double(*)[2])ring->at, (const double(*)[2])ring->at, n);
    for (uint32_t i = 0; i < n && ok; i++) {
        e->next[i] = i + 1 < n ? i + 1 : 0;
        e->prev[i] = i > 0 ? i - 1 : n - 1;
        e->behind[i] = e->place[i] = e->waits_for[i] = e->queue[i] = NO_INDEX;
        e->rank[i] = RANK_HOLLOW;
    }
    return ok;
}

/* --- the heap: rank, then length of the cut, then number ----------------------------------- */

static bool heap_before(const struct ears *e, uint32_t a, uint32_t b)
{
    if (e->rank[a] != e->rank[b])
        return e->rank[a] < e->rank[b];
    return e->cut[a] != e->cut[b] ? e->cut[a] < e->cut[b] : a < b;
}

static void heap_put(struct ears *e, uint32_t place, uint32_t node)
{
    e->heap[place] = node;
    e->place[node] = place;
}

static void heap_settle(struct ears *e, uint32_t node)
{
    uint32_t i = e->place[node];
    for (uint32_t up; i > 0 && heap_before(e, node, e->heap[up = (i - 1) / 2]); i = up)
        heap_put(e, i, e->heap[up]);
    for (uint32_t down; (down = 2 * i + 1) < e->heaped; i = down) {
        down += down + 1 < e->heaped && heap_before(e, e->heap[down + 1], e->heap[down]);
        if (!heap_before(e, e->heap[down], node))
            break;
        heap_put(e, i, e->heap[down]);
    }
    heap_put(e, i, node);
}

static void heap_drop(struct ears *e, uint32_t node)
{
    uint32_t i = e->place[node];
    if (i == NO_INDEX)
        return;
    e->place[node] = NO_INDEX;
    uint32_t last = e->heap[--e->heaped];
    if (last == node)
        return;
    e->place[last] = i;
    heap_settle(e, last);
}

static void heap_set(struct ears *e, uint32_t node, enum rank rank)
{
    e->rank[node] = (uint8_t)rank;
    if (e->place[node] == NO_INDEX)
        e->place[node] = e->heaped++;
    heap_settle(e, node);
}

/* --- waiting ------------------------------------------------------------------------------- */

static void stop_waiting(struct ears *e, uint32_t node)
{
    uint32_t whom = e->waits_for[node];
    if (whom == NO_INDEX)
        return;
    uint32_t before = e->queue_prev[node], after = e->queue_next[node];
    if (before == NO_INDEX)
        e->queue[whom] = after;
    else
        e->queue_next[before] = after;
    if (after != NO_INDEX)
        e->queue_prev[after] = before;
    e->waits_for[node] = NO_INDEX;
}

static void wait_for(struct ears *e, uint32_t node, uint32_t whom)
{
    e->waits_for[node] = whom;
    e->queue_prev[node] = NO_INDEX;
    e->queue_next[node] = e->queue[whom];
    if (e->queue[whom] != NO_INDEX)
        e->queue_prev[e->queue[whom]] = node;
    e->queue[whom] = node;
    heap_set(e, node, RANK_BLOCKED);
}

static void wake_all(struct ears *e, uint32_t whom)
{
    while (e->queue[whom] != NO_INDEX) {
        uint32_t node = e->queue[whom];
        stop_waiting(e, node);
        heap_set(e, node, RANK_CORNER);
    }
}

/* --- what blocks an ear -------------------------------------------------------------------- */

struct ear {
    const struct ears *ears;
    uint32_t node[3];
    const double *at[3];
    struct planar_box box;
    double slack; /* above the rounding of any cross product made here */
    uint32_t blocker;
};

static double cross(const double a[2], const double b[2], double x, double y)
{
    return (b[0] - a[0]) * (y - a[1]) - (b[1] - a[1]) * (x - a[0]);
}

static bool ear_reach(const struct planar_box *box, const void *context)
{
    const struct ear *ear = context;
    for (int k = 0; k < 2; k++)
        if (box->low[k] > ear->box.high[k] || box->high[k] < ear->box.low[k])
            return false;
    for (int k = 0; k < 3; k++) { /* the box's corner farthest to the left of each side */
        const double *a = ear->at[k], *b = ear->at[(k + 1) % 3];
        double x = b[1] > a[1] ? box->low[0] : box->high[0];
        double y = b[0] > a[0] ? box->high[1] : box->low[1];
        if (cross(a, b, x, y) < -ear->slack)
            return false;
    }
    return true;
}

static bool same_place(const double a[2], const double b[2])
{
    return a[0] == b[0] && a[1] == b[1];
}

/* Whether the contour, passing at `to` from a node that lies on corner k of the ear, enters it or
 * runs along its cut. */
static bool enters(const struct ear *ear, int k, const double to[2])
{
    const double *b = ear->at[k], *c = ear->at[(k + 1) % 3], *a = ear->at[(k + 2) % 3];
    int low = exact_turn(b, c, to), high = exact_turn(a, b, to);
    if (low > 0 && high > 0)
        return true;
    return k == 0 ? high == 0 && low > 0 : k == 2 && low == 0 && high > 0;
}

static bool ear_visit(uint32_t node, void *context)
{
    struct ear *ear = context;
    const struct ears *e = ear->ears;
    if (e->next[node] == NO_INDEX || e->rank[node] != RANK_HOLLOW || node == ear->node[0] ||
        node == ear->node[1] || node == ear->node[2])
        return true;
    const double *p = e->ring->at[node];
    for (int k = 0; k < 3; k++)
        if (exact_turn(ear->at[k], ear->at[(k + 1) % 3], p) < 0)
            return true;
    for (int k = 0; k < 3; k++)
        if (same_place(p, ear->at[k]) && !enters(ear, k, e->ring->at[e->next[node]]) &&
            !enters(ear, k, e->ring->at[e->prev[node]]))
            return true;
    ear->blocker = node;
    return false;
}

/* Whether cutting the node off would make an edge between two different points, and one that is
 * not there yet. */
static bool may_cut(const struct ears *e, uint32_t node)
{
    uint32_t a = e->ring->point[e->prev[node]], c = e->ring->point[e->next[node]];
    return a != c && (e->desperate || !edge_set_holds(&e->ring->edges, a, c));
}

/* The node that keeps this corner from being an ear, or NO_INDEX. */
static uint32_t blocker(const struct ears *e, uint32_t node)
{
    struct ear ear = {.ears = e, .node = {e->prev[node], node, e->next[node]}, .blocker = NO_INDEX};
    ear.box = (struct planar_box){{INFINITY, INFINITY}, {-INFINITY, -INFINITY}};
    for (int i = 0; i < 3; i++) {
        ear.at[i] = e->ring->at[ear.node[i]];
        for (int k = 0; k < 2; k++) {
            ear.box.low[k] = fmin(ear.box.low[k], ear.at[i][k]);
            ear.box.high[k] = fmax(ear.box.high[k], ear.at[i][k]);
        }
    }
    const struct planar_box *all = &e->hollows.box[1];
    double reach = fmax(all->high[0] - all->low[0], all->high[1] - all->low[1]);
    ear.slack = 0x1p-49 * reach * reach;
    planar_walk(&e->hollows, ear_reach, ear_visit, &ear);
    return ear.blocker;
}

/* --- cutting ------------------------------------------------------------------------------- */

/* Looks at a corner anew after its neighbours changed. */
static void judge(struct ears *e, uint32_t node)
{
    const double *a = e->ring->at[e->prev[node]], *b = e->ring->at[node];
    const double *c = e->ring->at[e->next[node]];
    bool was = e->rank[node] == RANK_HOLLOW, hollow = exact_turn(a, b, c) <= 0;
    if (was != hollow)
        planar_light(&e->hollows, node, hollow ? 1 : -1);
    e->cut[node] = (c[0] - a[0]) * (c[0] - a[0]) + (c[1] - a[1]) * (c[1] - a[1]);
    stop_waiting(e, node);
    heap_set(e, node, hollow ? RANK_HOLLOW : RANK_CORNER);
    wake_all(e, node);
}

/* The polygon edge that begins at `node` becomes side `side` of a triangle. */
static void spend_edge(struct ears *e, uint32_t node, uint32_t side)
{
    struct ring *ring = e->ring;
    uint32_t across = e->behind[node], partner = ring->partner[node];
    ring->twin[side] = across;
    if (across != NO_INDEX)
        ring->twin[across] = side;
    else if (partner != NO_INDEX)
        e->behind[partner] = side;
}

static void emit(struct ears *e, uint32_t a, uint32_t b, uint32_t c)
{
    uint32_t *corner = e->ring->corner[e->ring->triangles], side = 3 * e->ring->triangles++;
    corner[0] = a;
    corner[1] = b;
    corner[2] = c;
    spend_edge(e, a, side);
    spend_edge(e, b, side + 1);
    e->ring->twin[side + 2] = NO_INDEX;
}

static void cut_off(struct ears *e, uint32_t node)
{
    uint32_t a = e->prev[node], c = e->next[node];
    emit(e, a, node, c);
    if (e->rank[node] == RANK_HOLLOW)
        planar_light(&e->hollows, node, -1);
    e->next[a] = c;
    e->prev[c] = a;
    e->next[node] = NO_INDEX;
    e->behind[a] = 3 * e->ring->triangles - 1;
    e->ring->partner[a] = NO_INDEX;
    edge_set_add(&e->ring->edges, e->ring->point[a], e->ring->point[c]);
    heap_drop(e, node);
    stop_waiting(e, node);
    wake_all(e, node);
    e->left--;
    judge(e, a);
    judge(e, c);
}

static void cut_last(struct ears *e, uint32_t a)
{
    uint32_t b = e->next[a], c = e->next[b];
    const uint32_t *point = e->ring->point;
    if (point[a] == point[b] || point[b] == point[c] || point[c] == point[a])
        return;
    emit(e, a, b, c);
    spend_edge(e, c, 3 * e->ring->triangles - 1);
}

/* One step with the most promising corner. */
static void step(struct ears *e, uint32_t *last)
{
    uint32_t node = e->heap[0];
    if (!may_cut(e, node)) {
        heap_drop(e, node); /* until its neighbours change */
        return;
    }
    uint32_t whom = e->rank[node] == RANK_CORNER ? blocker(e, node) : NO_INDEX;
    if (whom != NO_INDEX) {
        wait_for(e, node, whom);
        return;
    }
    *last = e->prev[node];
    cut_off(e, node);
}

static void judge_all(struct ears *e)
{
    for (uint32_t i = 0; i < e->ring->count; i++)
        if (e->next[i] != NO_INDEX)
            judge(e, i);
}

enum status ears_cut(struct ring *ring, const struct job *job)
{
    struct ears e;
    ring->triangles = 0;
    if (!ears_make(&e, ring)) {
        ears_release(&e);
        return STATUS_MEMORY;
    }
    judge_all(&e);
    enum status status = STATUS_OK;
    uint32_t last = 0;
    for (size_t steps = 1; e.left > 3 && status == STATUS_OK; steps++) {
        if (e.heaped > 0)
            step(&e, &last);
        else if (e.desperate)
            break;
        else if ((e.desperate = true))
            judge_all(&e);
        if (steps % LOOK == 0 && job_cancelled(job))
            status = STATUS_CANCELLED;
    }
    if (status == STATUS_OK && e.left == 3)
        cut_last(&e, last);
    ears_release(&e);
    return status;
}
