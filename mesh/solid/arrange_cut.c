/* The triangles of one plane that overlap, or one alone, cut up along all that meets them.
 *
 * First every stretch is cut where others cross it or end on it, so that pieces only meet in their
 * ends; then a net is spun between all points with these pieces for edges. Each of its triangles
 * lies inside or outside each member as a whole. */
#include "solid/arrange_parts.h"
#include "solid/weave.h"

struct stop { /* a point on a stretch */
    uint32_t stretch, spot;
};

struct cutting {
    struct arranging *a;
    const uint32_t *member;
    size_t members;
    const struct stretch *stretch;
    size_t stretches;
    int dropped;
    struct pile stop;    /* struct stop */
    struct pile spot;    /* uint32_t: all points, each once */
    struct pile segment; /* uint32_t[2]: pieces, as indices of spot */
    struct lookup index, piece;
};

static bool add_stop(struct cutting *c, size_t stretch, uint32_t spot)
{
    struct stop *stop = pile_next(&c->stop, sizeof *stop);
    if (!stop)
        return false;
    *stop = (struct stop){(uint32_t)stretch, spot};
    c->stop.count++;
    return true;
}

static int turn(const struct cutting *c, uint32_t p, uint32_t q, uint32_t r)
{
    return spots_turn(c->a->spots, p, q, r, c->dropped);
}

/* --- stretches cut by each other -------------------------------------------------------------- */

/* Whether the spot, which is on the line of the stretch, lies inside it. */
static bool lies_in(const struct cutting *c, const struct stretch *s, uint32_t spot)
{
    int axis = axis_u(c->dropped);
    if (spots_order(c->a->spots, s->end[0], s->end[1], axis) == 0)
        axis = axis_v(c->dropped);
    return spots_order(c->a->spots, spot, s->end[0], axis) *
               spots_order(c->a->spots, spot, s->end[1], axis) <
           0;
}

static bool stop_at_end(struct cutting *c, size_t on, const struct stretch *of, int side[2])
{
    const struct stretch *s = &c->stretch[on];
    for (int k = 0; k < 2; k++)
        if (side[k] == 0 && of->end[k] != s->end[0] && of->end[k] != s->end[1] &&
            lies_in(c, s, of->end[k]) && !add_stop(c, on, of->end[k]))
            return false;
    return true;
}

static bool cross(struct cutting *c, size_t i, size_t k)
{
    const struct stretch *s[2] = {&c->stretch[i], &c->stretch[k]};
    const size_t index[2] = {i, k};
    int side[2][2]; /* of the ends of each, to the other; a point is on no side of itself */
    bool ok = true, through = true;
    for (int n = 0; n < 2; n++) {
        const struct stretch *line = s[1 - n];
        bool point = line->end[0] == line->end[1];
        for (int e = 0; e < 2; e++)
            side[n][e] = point ? 2 : turn(c, line->end[0], line->end[1], s[n]->end[e]);
        through = through && !point && side[n][0] * side[n][1] < 0;
    }
    for (int n = 0; n < 2 && ok; n++)
        if (s[1 - n]->end[0] != s[1 - n]->end[1])
            ok = stop_at_end(c, index[1 - n], s[n], side[n]);
    if (!ok || !through)
        return ok;
    struct plane p = stretch_plane(c->a, s[0]), q = stretch_plane(c->a, s[1]);
    uint32_t spot;
    return spots_planes(c->a->spots, &touched_at(c->a, c->member[0])->plane, &p, &q, &spot) &&
           add_stop(c, i, spot) && add_stop(c, k, spot);
}

struct reach { /* of a stretch, in q */
    int64_t low[2], high[2];
    uint32_t stretch;
};

static int reach_order(const void *x, const void *y)
{
    const struct reach *a = x, *b = y;
    if (a->low[0] != b->low[0])
        return a->low[0] < b->low[0] ? -1 : 1;
    return (a->stretch > b->stretch) - (a->stretch < b->stretch);
}

static void set_reach(const struct cutting *c, uint32_t i, struct reach *reach)
{
    const struct stretch *s = &c->stretch[i];
    reach->stretch = i;
    for (int k = 0; k < 2; k++) {
        int axis = k ? axis_v(c->dropped) : axis_u(c->dropped);
        int64_t a = spot_at(c->a->spots, s->end[0])->q[axis];
        int64_t b = spot_at(c->a->spots, s->end[1])->q[axis];
        reach->low[k] = (a < b ? a : b) - 1;
        reach->high[k] = (a > b ? a : b) + 1;
    }
}

static enum status lacking(const struct cutting *c)
{
    return job_cancelled(c->a->job) ? job_fail_cancelled(c->a->job)
                                    : job_fail_memory(c->a->job, c->stretches * 64);
}

static enum status cross_all(struct cutting *c)
{
    struct reach *reach = scratch_new(c->stretches, sizeof *reach);
    bool ok = reach != NULL;
    for (uint32_t i = 0; ok && i < c->stretches; i++)
        set_reach(c, i, &reach[i]);
    if (ok)
        qsort(reach, c->stretches, sizeof *reach, reach_order);
    for (size_t i = 0; ok && i < c->stretches; i++) {
        if (i % 64 == 63 && job_cancelled(c->a->job))
            ok = false;
        for (size_t k = i + 1; ok && k < c->stretches && reach[k].low[0] <= reach[i].high[0]; k++)
            if (reach[k].low[1] <= reach[i].high[1] && reach[i].low[1] <= reach[k].high[1])
                ok = cross(c, reach[i].stretch, reach[k].stretch);
    }
    scratch_free(reach);
    return ok ? STATUS_OK : lacking(c);
}

/* --- pieces ----------------------------------------------------------------------------------- */

static bool index_of(struct cutting *c, uint32_t spot, uint32_t *index)
{
    uint32_t *slot = lookup_at(&c->index, spot, 0), *to = pile_next(&c->spot, sizeof *to);
    if (!slot || !to)
        return false;
    if (*slot == NO_INDEX) {
        *to = spot;
        *slot = (uint32_t)c->spot.count++;
    }
    *index = *slot;
    return true;
}

static bool add_piece(struct cutting *c, uint32_t from, uint32_t to)
{
    uint32_t a, b;
    if (!index_of(c, from, &a) || !index_of(c, to, &b))
        return false;
    if (a == b)
        return true;
    uint32_t *slot = lookup_at(&c->piece, a < b ? a : b, a < b ? b : a);
    uint32_t(*segment)[2] = pile_next(&c->segment, sizeof *segment);
    if (!slot || !segment)
        return false;
    if (*slot == NO_INDEX) {
        (*segment)[0] = a;
        (*segment)[1] = b;
        *slot = (uint32_t)c->segment.count++;
    }
    return true;
}

static int stop_order(const void *x, const void *y, void *context)
{
    const struct stop *a = x, *b = y;
    const struct cutting *c = context;
    if (a->stretch != b->stretch)
        return a->stretch < b->stretch ? -1 : 1;
    const struct stretch *s = &c->stretch[a->stretch];
    int axis = axis_u(c->dropped);
    if (spots_order(c->a->spots, s->end[0], s->end[1], axis) == 0)
        axis = axis_v(c->dropped);
    int way = spots_order(c->a->spots, s->end[1], s->end[0], axis);
    return way * spots_order(c->a->spots, a->spot, b->spot, axis);
}

static enum status cut_stretches(struct cutting *c)
{
    const struct stop *stop = c->stop.data;
    size_t next = 0;
    bool ok = true;
    if (c->stop.count)
        qsort_r(c->stop.data, c->stop.count, sizeof *stop, stop_order, c);
    for (size_t i = 0; i < c->stretches && ok; i++) {
        uint32_t from = c->stretch[i].end[0];
        for (; ok && next < c->stop.count && stop[next].stretch == i; next++) {
            ok = add_piece(c, from, stop[next].spot);
            from = stop[next].spot;
        }
        ok = ok && add_piece(c, from, c->stretch[i].end[1]);
    }
    return ok ? STATUS_OK : lacking(c);
}

/* --- facets ----------------------------------------------------------------------------------- */

struct owned {         /* of a triangle of the net */
    int sum;           /* members in which it lies, those running clockwise as -1 */
    uint32_t first[2]; /* of members: the first that runs clockwise, counter-clockwise */
    uint32_t seen;     /* the last member that came by, counted from 1 */
};

/* Whether the triangle of the net is in the member. */
static bool is_in(const struct cutting *c, const struct weave_triangle *n, const struct touched *t)
{
    for (int i = 0; i < 9; i++) {
        uint32_t point = n->v[i / 3];
        if (point < WEAVE_FRAME || t->turn * turn(c, t->spot[i % 3], t->spot[(i + 1) % 3],
                                                  PILE(c->spot, uint32_t)[point - WEAVE_FRAME]) <
                                       0)
            return false;
    }
    return true;
}

/* Takes the triangle for the member if it lies in it. False when there is no memory. */
static bool take(const struct cutting *c, const struct weave *net, uint32_t n, size_t m,
                 struct owned *own, struct pile *wait)
{
    const struct touched *t = touched_at(c->a, c->member[m]);
    const struct weave_triangle *triangle = PILE(net->triangle, struct weave_triangle) + n;
    if (own[n].seen == m + 1)
        return true;
    own[n].seen = (uint32_t)m + 1;
    if (c->members > 1 ? !is_in(c, triangle, t)
                       : triangle->v[0] < WEAVE_FRAME || triangle->v[1] < WEAVE_FRAME ||
                             triangle->v[2] < WEAVE_FRAME)
        return true;
    uint32_t *to = pile_next(wait, sizeof *to);
    if (!to)
        return false;
    *to = n;
    wait->count++;
    own[n].sum += t->turn;
    if (own[n].first[t->turn > 0] == NO_INDEX)
        own[n].first[t->turn > 0] = (uint32_t)m;
    return true;
}

/* Floods the member from its first corner. */
static bool flood(struct cutting *c, const struct weave *net, size_t m, struct owned *own,
                  struct pile *wait)
{
    const struct weave_triangle *t = net->triangle.data;
    uint32_t spot = touched_at(c->a, c->member[m])->spot[0];
    uint32_t point = WEAVE_FRAME + lookup_find(&c->index, spot, 0);
    uint32_t first = PILE(net->at, uint32_t)[point], n = first;
    bool ok = true;
    do {
        int k = t[n].v[0] == point ? 0 : t[n].v[1] == point ? 1 : 2;
        ok = take(c, net, n, m, own, wait);
        n = t[n].across[(k + 2) % 3];
    } while (n != first && ok);
    while (wait->count && ok) {
        n = PILE(*wait, uint32_t)[--wait->count];
        for (int k = 0; k < 3 && ok; k++)
            if (t[n].across[k] != NO_INDEX)
                ok = take(c, net, t[n].across[k], m, own, wait);
    }
    return ok;
}

/* The facet runs as most of the members in which it lies do; of these it is the first's. */
static bool add_facet(struct cutting *c, const struct weave_triangle *t, const struct owned *own)
{
    uint32_t m = own->first[own->sum > 0];
    if (m == NO_INDEX)
        m = own->first[own->sum <= 0];
    if (m == NO_INDEX)
        return true;
    struct facet *facet = pile_next(&c->a->facet, sizeof *facet);
    if (!facet)
        return false;
    const struct touched *of = touched_at(c->a, c->member[m]);
    const uint32_t *spot = c->spot.data;
    bool back = of->turn < 0;
    *facet = (struct facet){{spot[t->v[0] - WEAVE_FRAME], spot[t->v[back ? 2 : 1] - WEAVE_FRAME],
                             spot[t->v[back ? 1 : 2] - WEAVE_FRAME]},
                            of->triangle};
    c->a->facet.count++;
    return true;
}

static enum status add_facets(struct cutting *c, const struct weave *net)
{
    size_t count = net->triangle.count;
    struct owned *own = scratch_new(count, sizeof *own);
    struct pile wait = {0};
    bool ok = own != NULL;
    for (size_t i = 0; i < count && ok; i++)
        own[i] = (struct owned){.first = {NO_INDEX, NO_INDEX}};
    for (size_t m = 0; m < c->members && ok; m++)
        ok = flood(c, net, m, own, &wait) && (m % 64 || !job_cancelled(c->a->job));
    for (size_t i = 0; i < count && ok; i++)
        ok = add_facet(c, PILE(net->triangle, struct weave_triangle) + i, &own[i]);
    pile_release(&wait);
    scratch_free(own);
    return ok ? STATUS_OK : lacking(c);
}

enum status arrange_cut(struct arranging *a, const uint32_t *member, size_t members,
                        const struct stretch *stretch, size_t stretches)
{
    struct cutting c = {.a = a,
                        .member = member,
                        .members = members,
                        .stretch = stretch,
                        .stretches = stretches,
                        .dropped = touched_at(a, member[0])->dropped};
    struct weave net = {0};
    enum status status = cross_all(&c);
    if (status == STATUS_OK)
        status = cut_stretches(&c);
    if (status == STATUS_OK)
        status = weave_make(&net, a->spots, c.dropped, c.spot.data, c.spot.count,
                            (const uint32_t(*)[2])c.segment.data, c.segment.count, a->job);
    if (status == STATUS_OK)
        status = add_facets(&c, &net);
    weave_release(&net);
    pile_release(&c.stop);
    pile_release(&c.spot);
    pile_release(&c.segment);
    lookup_release(&c.index);
    lookup_release(&c.piece);
    return status;
}
