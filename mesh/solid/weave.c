#include "solid/weave.h"

static struct weave_triangle *triangle_of(const struct weave *n, uint32_t t)
{
    return PILE(n->triangle, struct weave_triangle) + t;
}

static int turn(const struct weave *n, uint32_t a, uint32_t b, uint32_t c)
{
    const uint32_t *spot = n->point.data;
    return spots_turn(n->spots, spot[a], spot[b], spot[c], n->dropped);
}

void weave_release(struct weave *net)
{
    pile_release(&net->point);
    pile_release(&net->triangle);
    pile_release(&net->at);
}

static uint32_t new_triangle(struct weave *n)
{
    struct weave_triangle *t = pile_next(&n->triangle, sizeof *t);
    if (!t)
        return NO_INDEX;
    *t = (struct weave_triangle){.v = {0}};
    return (uint32_t)n->triangle.count++;
}

/* The side of t beyond which `other` lies. */
static int side_to(const struct weave *n, uint32_t t, uint32_t other)
{
    const uint32_t *across = triangle_of(n, t)->across;
    return across[0] == other ? 0 : across[1] == other ? 1 : 2;
}

struct outside { /* what stays of a side when the triangle at it is another */
    uint32_t across;
    bool fixed;
};

static struct outside outside_of(const struct weave *n, uint32_t t, int k)
{
    const struct weave_triangle *from = triangle_of(n, t);
    return (struct outside){from->across[k % 3], from->fixed >> k % 3 & 1};
}

/* Triangle t is a b c now; beyond its sides lie the given ones, of which `was` (before) shows that
 * of the first. */
static void set_triangle(struct weave *n, uint32_t t, const uint32_t v[3], struct outside first,
                         uint32_t was, const uint32_t across[2], uint8_t fixed)
{
    struct weave_triangle *to = triangle_of(n, t);
    *to = (struct weave_triangle){
        {v[0], v[1], v[2]}, {first.across, across[0], across[1]}, (uint8_t)(fixed | first.fixed)};
    if (first.across != NO_INDEX)
        triangle_of(n, first.across)->across[side_to(n, first.across, was)] = t;
    for (int k = 0; k < 3; k++)
        PILE(n->at, uint32_t)[v[k]] = t;
}

/* --- flips ------------------------------------------------------------------------------------ */

/* Turns the diagonal that side k of t is: t becomes c a d, its neighbour d b c, when t was a b c
 * from that side on and the neighbour b a d. */
static void flip(struct weave *n, uint32_t t, int k)
{
    uint32_t s = triangle_of(n, t)->across[k];
    int i = side_to(n, s, t);
    const uint32_t *v = triangle_of(n, t)->v;
    uint32_t a = v[k], b = v[(k + 1) % 3], c = v[(k + 2) % 3];
    uint32_t d = triangle_of(n, s)->v[(i + 2) % 3];
    struct outside bc = outside_of(n, t, k + 1), ca = outside_of(n, t, k + 2);
    struct outside ad = outside_of(n, s, i + 1), db = outside_of(n, s, i + 2);
    /* a d is s's before, b c is t's */
    struct weave_triangle *to = triangle_of(n, t), *so = triangle_of(n, s);
    *to = (struct weave_triangle){
        {c, a, d}, {ca.across, ad.across, s}, (uint8_t)(ca.fixed | ad.fixed << 1)};
    *so = (struct weave_triangle){
        {d, b, c}, {db.across, bc.across, t}, (uint8_t)(db.fixed | bc.fixed << 1)};
    if (ad.across != NO_INDEX)
        triangle_of(n, ad.across)->across[side_to(n, ad.across, s)] = t;
    if (bc.across != NO_INDEX)
        triangle_of(n, bc.across)->across[side_to(n, bc.across, t)] = s;
    uint32_t *at = n->at.data;
    at[a] = at[c] = at[d] = t;
    at[b] = s;
}

static bool may_flip(const struct weave *n, uint32_t t, int k)
{
    const struct weave_triangle *of = triangle_of(n, t);
    uint32_t s = of->across[k];
    if (s == NO_INDEX || of->fixed >> k & 1)
        return false;
    uint32_t a = of->v[k], b = of->v[(k + 1) % 3], c = of->v[(k + 2) % 3];
    uint32_t d = triangle_of(n, s)->v[(side_to(n, s, t) + 2) % 3];
    return turn(n, c, a, d) > 0 && turn(n, d, b, c) > 0;
}

static void flat_from(const struct weave *n, uint32_t p, uint32_t from, double out[2])
{
    const uint32_t *spot = n->point.data;
    const int64_t *q = spot_at(n->spots, spot[p])->q, *o = spot_at(n->spots, spot[from])->q;
    out[0] = (double)(q[axis_u(n->dropped)] - o[axis_u(n->dropped)]);
    out[1] = (double)(q[axis_v(n->dropped)] - o[axis_v(n->dropped)]);
}

/* Whether the corner beyond side k lies inside the circle of t, as far as doubles tell. */
static bool wants_flip(const struct weave *n, uint32_t t, int k)
{
    const struct weave_triangle *of = triangle_of(n, t);
    uint32_t s = of->across[k];
    if (s == NO_INDEX)
        return false;
    uint32_t d = triangle_of(n, s)->v[(side_to(n, s, t) + 2) % 3];
    double p[3][2], size[3], sum = 0, all = 0;
    for (int i = 0; i < 3; i++) {
        flat_from(n, of->v[i], d, p[i]);
        size[i] = p[i][0] * p[i][0] + p[i][1] * p[i][1];
    }
    for (int i = 0; i < 3; i++) {
        const double *x = p[(i + 1) % 3], *y = p[(i + 2) % 3];
        sum += size[i] * (x[0] * y[1] - x[1] * y[0]);
        all += size[i] * (fabs(x[0] * y[1]) + fabs(x[1] * y[0]));
    }
    return sum > 1e-12 * all;
}

/* --- points ----------------------------------------------------------------------------------- */

/* The triangle in which the point lies; *on: the side it lies on, or -1. Walks there; where walking
 * goes in circles, looks at all. */
static uint32_t locate(const struct weave *n, uint32_t p, int *on)
{
    uint32_t t = n->last, steps = 0, count = (uint32_t)n->triangle.count;
    for (uint32_t next = t; steps <= 2 * count; steps++) {
        const struct weave_triangle *of = triangle_of(n, t);
        bool inside = true;
        *on = -1;
        for (int i = 0; i < 3 && inside; i++) {
            int k = (i + (int)(steps % 3)) % 3, side = turn(n, of->v[k], of->v[(k + 1) % 3], p);
            if (side == 0)
                *on = k;
            inside = side >= 0;
            next = of->across[k];
        }
        if (inside)
            return t;
        t = steps < count ? next : steps - count;
    }
    return t;
}

/* Flips the sides opposite to the point, from the triangles around it on, as long as that helps. */
static void settle(struct weave *n, uint32_t p)
{
    uint32_t first = PILE(n->at, uint32_t)[p], t = first;
    do {
        const uint32_t *v = triangle_of(n, t)->v;
        int k = v[0] == p ? 1 : v[1] == p ? 2 : 0; /* the side opposite */
        if (wants_flip(n, t, k) && may_flip(n, t, k)) {
            uint32_t s = triangle_of(n, t)->across[k];
            flip(n, t, k);
            first = t = s; /* both have the point still: go round once more from here */
            continue;
        }
        t = triangle_of(n, t)->across[(k + 1) % 3]; /* the next around it */
        if (t == first)
            break;
    } while (true);
    n->last = t;
}

static bool split_inside(struct weave *n, uint32_t t, uint32_t p)
{
    uint32_t x = new_triangle(n), y = new_triangle(n);
    if (x == NO_INDEX || y == NO_INDEX)
        return false;
    const uint32_t *v = triangle_of(n, t)->v;
    uint32_t a = v[0], b = v[1], c = v[2];
    struct outside ab = outside_of(n, t, 0), bc = outside_of(n, t, 1), ca = outside_of(n, t, 2);
    set_triangle(n, x, (uint32_t[3]){b, c, p}, bc, t, (uint32_t[2]){y, t}, 0);
    set_triangle(n, y, (uint32_t[3]){c, a, p}, ca, t, (uint32_t[2]){t, x}, 0);
    set_triangle(n, t, (uint32_t[3]){a, b, p}, ab, t, (uint32_t[2]){x, y}, 0);
    return true;
}

static bool split_side(struct weave *n, uint32_t t, int k, uint32_t p)
{
    uint32_t x = new_triangle(n), y = new_triangle(n);
    if (x == NO_INDEX || y == NO_INDEX)
        return false;
    uint32_t s = triangle_of(n, t)->across[k];
    int i = side_to(n, s, t);
    const uint32_t *v = triangle_of(n, t)->v;
    uint32_t a = v[k], b = v[(k + 1) % 3], c = v[(k + 2) % 3];
    uint32_t d = triangle_of(n, s)->v[(i + 2) % 3];
    struct outside bc = outside_of(n, t, k + 1), ca = outside_of(n, t, k + 2);
    struct outside ad = outside_of(n, s, i + 1), db = outside_of(n, s, i + 2);
    set_triangle(n, x, (uint32_t[3]){b, c, p}, bc, t, (uint32_t[2]){t, y}, 0);
    set_triangle(n, y, (uint32_t[3]){d, b, p}, db, s, (uint32_t[2]){x, s}, 0);
    set_triangle(n, t, (uint32_t[3]){c, a, p}, ca, t, (uint32_t[2]){s, x}, 0);
    set_triangle(n, s, (uint32_t[3]){a, d, p}, ad, s, (uint32_t[2]){y, t}, 0);
    return true;
}

static bool insert(struct weave *n, uint32_t p)
{
    int on;
    uint32_t t = locate(n, p, &on);
    if (!(on < 0 ? split_inside(n, t, p) : split_side(n, t, on, p)))
        return false;
    settle(n, p);
    return true;
}

/* --- segments --------------------------------------------------------------------------------- */

/* The triangle that runs from x to y, and the side that does; false when none does. Goes round x
 * one way, and at a corner of the frame the other way too. */
static bool find_side(const struct weave *n, uint32_t x, uint32_t y, uint32_t *t, int *k)
{
    uint32_t first = PILE(n->at, uint32_t)[x];
    for (int way = 2; way >= 0; way -= 2) {
        *t = first;
        do {
            const struct weave_triangle *of = triangle_of(n, *t);
            *k = of->v[0] == x ? 0 : of->v[1] == x ? 1 : 2;
            if (of->v[(*k + 1) % 3] == y)
                return true;
            *t = of->across[(*k + way) % 3];
        } while (*t != first && *t != NO_INDEX);
        if (*t == first)
            return false;
    }
    return false;
}

static void fix(struct weave *n, uint32_t t, int k)
{
    uint32_t s = triangle_of(n, t)->across[k];
    triangle_of(n, t)->fixed |= (uint8_t)(1u << k);
    triangle_of(n, s)->fixed |= (uint8_t)(1u << side_to(n, s, t));
}

static bool push(struct pile *list, uint32_t x, uint32_t y)
{
    uint32_t(*to)[2] = pile_next(list, sizeof *to);
    if (!to)
        return false;
    (*to)[0] = x;
    (*to)[1] = y;
    list->count++;
    return true;
}

/* The sides that p q crosses, each from its right to its left. */
static bool list_crossed(const struct weave *n, uint32_t p, uint32_t q, struct pile *list)
{
    uint32_t first = PILE(n->at, uint32_t)[p], t = first, x = p, y = p;
    do {
        const struct weave_triangle *of = triangle_of(n, t);
        int k = of->v[0] == p ? 0 : of->v[1] == p ? 1 : 2;
        x = of->v[(k + 1) % 3];
        y = of->v[(k + 2) % 3];
        if (turn(n, p, q, x) < 0 && turn(n, p, q, y) > 0)
            break;
        t = of->across[(k + 2) % 3];
    } while (t != first);
    while (true) {
        int k;
        if (!push(list, x, y))
            return false;
        if (!find_side(n, y, x, &t, &k))
            return true;
        uint32_t z = triangle_of(n, t)->v[(k + 2) % 3];
        if (z == q)
            return true;
        *(turn(n, p, q, z) < 0 ? &x : &y) = z;
    }
}

static bool crosses(const struct weave *n, uint32_t p, uint32_t q, uint32_t c, uint32_t d)
{
    return c != p && c != q && d != p && d != q && turn(n, p, q, c) * turn(n, p, q, d) < 0;
}

/* Flips what crosses the segment until nothing does. */
static bool add_segment(struct weave *n, uint32_t p, uint32_t q, struct pile *list)
{
    uint32_t t;
    int k;
    list->count = 0;
    if (!find_side(n, p, q, &t, &k)) {
        if (!list_crossed(n, p, q, list))
            return false;
        size_t most = 64 + 8 * list->count * list->count;
        for (size_t i = 0; i < list->count && i < most; i++) {
            uint32_t x = PILE(*list, uint32_t)[2 * i], y = PILE(*list, uint32_t)[2 * i + 1];
            if (!find_side(n, x, y, &t, &k))
                continue;
            if (!may_flip(n, t, k)) {
                if (!push(list, x, y))
                    return false;
                continue;
            }
            flip(n, t, k); /* t is c a d now */
            uint32_t c = triangle_of(n, t)->v[0], d = triangle_of(n, t)->v[2];
            if (crosses(n, p, q, c, d) && !push(list, c, d))
                return false;
        }
    }
    if (find_side(n, p, q, &t, &k))
        fix(n, t, k);
    return true;
}

/* --- all -------------------------------------------------------------------------------------- */

static bool add_point(struct weave *n, uint32_t spot)
{
    uint32_t *point = pile_next(&n->point, sizeof *point), *at = pile_next(&n->at, sizeof *at);
    if (!point || !at)
        return false;
    *point = spot;
    *at = 0;
    n->point.count++;
    n->at.count++;
    return true;
}

/* A triangle far around all spots. */
static bool make_frame(struct weave *n, const uint32_t *spot, size_t count)
{
    int u = axis_u(n->dropped), v = axis_v(n->dropped);
    int64_t low[2] = {INT64_MAX, INT64_MAX}, high[2] = {INT64_MIN, INT64_MIN};
    for (size_t i = 0; i < count; i++)
        for (int k = 0; k < 2; k++) {
            int64_t at = spot_at(n->spots, spot[i])->q[k ? v : u] >> SPOT_FRACTION;
            low[k] = at < low[k] ? at : low[k];
            high[k] = at > high[k] ? at : high[k];
        }
    int64_t reach = high[0] - low[0] + high[1] - low[1] + 2;
    const int64_t corner[3][2] = {{low[0] - reach, low[1] - reach},
                                  {high[0] + 2 * reach, low[1] - reach},
                                  {low[0] - reach, high[1] + 2 * reach}};
    for (int i = 0; i < 3; i++) {
        int64_t p[3] = {0, 0, 0};
        uint32_t number;
        p[u] = corner[i][0];
        p[v] = corner[i][1];
        if (!spots_vertex(n->spots, p, true, &number) || !add_point(n, number))
            return false;
    }
    uint32_t t = new_triangle(n);
    if (t == NO_INDEX)
        return false;
    *triangle_of(n, t) = (struct weave_triangle){{0, 1, 2}, {NO_INDEX, NO_INDEX, NO_INDEX}, 0};
    return true;
}

enum { PASSES = 8 };

/* What the segments left worse than need be. */
static void settle_all(struct weave *n)
{
    bool any = true;
    for (int pass = 0; pass < PASSES && any; pass++) {
        any = false;
        for (uint32_t t = 0; t < n->triangle.count; t++)
            for (int k = 0; k < 3; k++)
                if (wants_flip(n, t, k) && may_flip(n, t, k)) {
                    flip(n, t, k);
                    any = true;
                }
    }
}

enum status weave_make(struct weave *net, struct spots *spots, int dropped, const uint32_t *spot,
                       size_t count, const uint32_t (*segment)[2], size_t segments, struct job *job)
{
    struct pile list = {0};
    *net = (struct weave){.spots = spots, .dropped = dropped};
    bool ok = make_frame(net, spot, count);
    for (size_t i = 0; i < count && ok; i++) {
        ok = add_point(net, spot[i]) && insert(net, (uint32_t)(WEAVE_FRAME + i));
        if (i % 256 == 255 && job_cancelled(job))
            break;
    }
    for (size_t i = 0; i < segments && ok && !job_cancelled(job); i++)
        ok = add_segment(net, WEAVE_FRAME + segment[i][0], WEAVE_FRAME + segment[i][1], &list);
    if (ok && segments > 0 && !job_cancelled(job))
        settle_all(net);
    pile_release(&list);
    if (ok && job_cancelled(job))
        return job_fail_cancelled(job);
    return ok ? STATUS_OK : job_fail_memory(job, count * 64);
}
