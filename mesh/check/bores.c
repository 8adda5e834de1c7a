/* Bores: full round walls on one axis, one behind the other, the narrowest of which is the hole;
 * what widens towards an end is the recess for a head. One end at least opens to the outside: a
 * neck between the rooms of a cavity is no hole for a screw. */
#include <math.h>

#include "check/screw_holes_parts.h"
#include "core/job.h"

static const double full = 330;          /* degrees of a circle */
static const double parallel = 0.9994;   /* cosine of 2 degrees */
static const double widest = 30;         /* mm */
static const double recess_ratio = 1.35; /* of a recess to the hole: less is a chamfer */
static const double floor_depth = 1.3;   /* radii: what is farther behind an end closes nothing */

static const double seen = 0.1; /* of all directions before an end: that lead outside */

enum { MOST = 6, RAYS = 8, LOOKS = 64 };

struct step { /* a wall of the chain, in the hole's terms */
    size_t wall;
    double from, to; /* depth of its ends, mean, along the axis */
};

struct chain { /* from low to high */
    const struct hole_finder *finder;
    struct vec at, axis;
    struct step step[MOST];
    int count;
    int hole;            /* the narrowest */
    struct cone cone[2]; /* at its low and its high end; share 0: none */
    bool open[2];        /* something free is there, */
    bool outside[2];     /* and it is no cavity */
};

static const struct round *wall(const struct chain *c, int i)
{
    return &c->finder->rounds.item[c->step[i].wall];
}

static bool is_full(const struct hole_finder *f, size_t i)
{
    return !f->used[i] && f->rounds.item[i].arc >= full;
}

/* --- the chain ------------------------------------------------------------------------------ */

static double depth_of(const struct chain *c, const struct round *round, int end)
{
    struct vec p = vec_along(round->on.at, round->end[end].mean, round->on.axis);
    return vec_dot(vec_sub(p, c->at), c->axis);
}

static struct step step_of(const struct chain *c, size_t i)
{
    const struct round *round = &c->finder->rounds.item[i];
    double a = depth_of(c, round, ROUND_LOW), b = depth_of(c, round, ROUND_HIGH);
    return (struct step){i, fmin(a, b), fmax(a, b)};
}

/* Whether the wall goes on on the same axis behind the chain's end at that depth: at once, or
 * behind a cone that is as high as it is wide. */
static bool follows(const struct chain *c, size_t i, int way, struct step *out)
{
    const struct round *round = &c->finder->rounds.item[i];
    const struct round *end = wall(c, way > 0 ? c->count - 1 : 0);
    double narrower = fmin(round->on.radius, end->on.radius);
    double slack = 0.05 * narrower + 0.05;
    struct cylinder own = {c->at, c->axis, 0};
    if (fabs(vec_dot(round->on.axis, c->axis)) < parallel ||
        cylinder_polar(&own, round->on.at).radius > 2 * slack)
        return false;
    *out = step_of(c, i);
    struct vec middle = vec_along(c->at, (out->from + out->to) / 2, c->axis);
    double gap = way > 0 ? out->from - c->step[c->count - 1].to : c->step[0].from - out->to;
    return cylinder_polar(&round->on, middle).radius < slack && gap > -slack &&
           gap < slack + 2 * fabs(round->on.radius - end->on.radius);
}

static bool lengthen(struct chain *c, int way)
{
    const struct hole_finder *f = c->finder;
    struct step next;
    for (size_t i = 0; i < f->rounds.count && c->count < MOST; i++) {
        bool there = false;
        for (int k = 0; k < c->count; k++)
            there = there || c->step[k].wall == i;
        if (there || !is_full(f, i) || !follows(c, i, way, &next))
            continue;
        for (int k = c->count; k > 0 && way < 0; k--)
            c->step[k] = c->step[k - 1];
        c->step[way < 0 ? 0 : c->count] = next;
        c->count++;
        return true;
    }
    return false;
}

static void make_chain(const struct hole_finder *f, size_t first, struct chain *c)
{
    const struct cylinder *on = &f->rounds.item[first].on;
    *c = (struct chain){.finder = f, .at = on->at, .axis = on->axis, .count = 1};
    c->step[0] = step_of(c, first);
    while (lengthen(c, 1) || lengthen(c, -1))
        continue;
    for (int i = 1; i < c->count; i++)
        if (wall(c, i)->on.radius < 0.98 * wall(c, c->hole)->on.radius)
            c->hole = i;
    on = &wall(c, c->hole)->on; /* heights along the axis of the hole itself from now on */
    c->at = on->at;
    c->axis = on->axis;
    for (int i = 0; i < c->count; i++)
        c->step[i] = step_of(c, c->step[i].wall);
    if (c->count > 1 && c->step[0].from > c->step[c->count - 1].from) {
        for (int i = 0, k = c->count - 1; i < k; i++, k--) {
            struct step step = c->step[i];
            c->step[i] = c->step[k];
            c->step[k] = step;
        }
        c->hole = c->count - 1 - c->hole;
    }
}

/* --- its ends ------------------------------------------------------------------------------- */

/* The i-th of RAYS directions around, square to each other being u and v. */
static struct vec spoke(struct vec u, struct vec v, int i)
{
    double a = 2 * 3.14159265358979323846 * i / RAYS;
    return vec_along(vec_scale(u, cos(a)), sin(a), v);
}

/* Whether the chain's end leads out: the surface turns away from the axis there, or towards it
 * without closing it, as it does where half of a circle between the axis and the wall runs on: a
 * smaller hole in its floor does not open it. */
static bool is_open(const struct chain *c, int end)
{
    const struct step *step = &c->step[end ? c->count - 1 : 0];
    const struct round *round = wall(c, end ? c->count - 1 : 0);
    struct vec way = vec_scale(c->axis, end ? 1 : -1), u, v;
    const struct round_end *rim = &round->end[hole_end(round, way)];
    if (rim->outward > 0.5)
        return true;
    struct vec middle = vec_along(c->at, (step->from + step->to) / 2, c->axis);
    double least = floor_depth * round->on.radius + (step->to - step->from) / 2;
    int free = 0;
    vec_frame(way, &u, &v);
    for (int i = 0; i < RAYS; i++) {
        struct vec from = vec_along(middle, round->on.radius / 2, spoke(u, v, i));
        free += hole_far(c->finder, from, way) > least;
    }
    return 2 * free >= RAYS;
}

static enum status look_at_ends(struct chain *c, struct hole_finder *f)
{
    enum status status = STATUS_OK;
    for (int end = 0; end < 2 && status == STATUS_OK; end++) {
        int last = end ? c->count - 1 : 0;
        c->open[end] = is_open(c, end);
        if (c->hole == last && c->open[end])
            status = round_cone(&f->rounds, wall(c, last), end, &c->cone[end], f->job);
        if (c->cone[end].share < 0.7)
            c->cone[end].share = 0;
    }
    return status;
}

/* How wide it is at an end, beside the hole. */
static double mouth_of(const struct chain *c, int end)
{
    int last = end ? c->count - 1 : 0;
    if (c->hole != last)
        return wall(c, last)->narrow;
    return c->cone[end].share > 0 ? c->cone[end].wide : wall(c, last)->narrow;
}

/* Depth of the rim at that end; where it opens to a cavity that of the hole itself, as what is
 * wider behind may be all of the cavity. */
static double rim_of(const struct chain *c, int end)
{
    if (c->open[end] && !c->outside[end])
        return end ? c->step[c->hole].to : c->step[c->hole].from;
    if (c->cone[end].share > 0)
        return c->cone[end].to;
    return end ? c->step[c->count - 1].to : c->step[0].from;
}

/* From where it is bored: an end to the outside, the wider one; of two alike from above, the front,
 * the right.
 */
static int entrance(const struct chain *c)
{
    if (c->outside[0] != c->outside[1])
        return c->outside[1];
    double low = mouth_of(c, 0), high = mouth_of(c, 1);
    if (fabs(low - high) > 0.05 * fmin(low, high))
        return high > low;
    struct vec a = c->axis;
    double most = fmax(fabs(a.x), fmax(fabs(a.y), fabs(a.z)));
    double way = fabs(a.z) > most - 1e-6 ? a.z : fabs(a.y) > most - 1e-6 ? -a.y : a.x;
    return way > 0;
}

/* Whether a head as wide as one and a half holes comes straight to an end: half of its rim does. */
static bool is_reached(const struct chain *c, struct vec from, struct vec way)
{
    struct vec u, v;
    int free = 0;
    vec_frame(way, &u, &v);
    for (int i = 0; i < RAYS; i++) {
        double r = 0.75 * wall(c, c->hole)->narrow;
        struct vec aside = spoke(u, v, i);
        free += hole_far(c->finder, from, aside) > r &&
                isinf(hole_far(c->finder, vec_along(from, r, aside), way));
    }
    return 2 * free >= RAYS;
}

/* Whether an end leads to the outside, and not to a cavity, of which little more than the drains
 * show from there: by directions spread evenly over all before the end (the golden angle's spiral).
 */
static bool leads_out(const struct chain *c, int end)
{
    struct vec way = vec_scale(c->axis, end ? 1 : -1), u, v;
    double rim = rim_of(c, end) * (end ? 1 : -1) + 0.05 * wall(c, c->hole)->on.radius;
    struct vec from = vec_along(c->at, rim, way);
    int free = 0;
    vec_frame(way, &u, &v);
    for (int i = 0; i < LOOKS; i++) {
        double high = (i + 0.5) / LOOKS, flat = sqrt(1 - high * high), a = 2.39996323 * i;
        struct vec to = vec_along(vec_scale(way, high), flat * cos(a), u);
        free += isinf(hole_far(c->finder, from, vec_along(to, flat * sin(a), v)));
    }
    return free >= seen * LOOKS || is_reached(c, from, way);
}

static void look_outside(struct chain *c)
{
    bool out[2];
    c->outside[0] = c->outside[1] = true; /* to look from the ends of all of the chain */
    for (int end = 0; end < 2; end++)
        out[end] = c->open[end] && leads_out(c, end);
    c->outside[0] = out[0];
    c->outside[1] = out[1];
}

/* --- the hole ------------------------------------------------------------------------------- */

static void add_recess(const struct chain *c, int end, double rim, struct screw_hole *hole)
{
    const struct round *own = wall(c, c->hole);
    int last = end ? c->count - 1 : 0;
    double floor = end ? c->step[c->hole].to : c->step[c->hole].from;
    hole->mouth = mouth_of(c, end);
    if (c->hole == last && c->cone[end].share == 0)
        return;
    hole->sunk = fabs(floor - rim);
    double high = (hole->mouth - own->narrow) / 2;
    bool cone = c->hole == last;
    if (!cone) { /* a countersink lies deeper when it is as high as what lies between is wide */
        int next = end ? c->hole + 1 : c->hole - 1;
        double gap = end ? c->step[next].from - floor : floor - c->step[next].to;
        cone = gap > 0.3 * (wall(c, next)->narrow - own->narrow) / 2;
        hole->angle = cone ? 2 * atan2(high, gap) : 0;
    } else {
        hole->angle = 2 * c->cone[end].half;
    }
    hole->angle *= 180 / 3.14159265358979323846;
    if (hole->mouth > recess_ratio * own->narrow)
        hole->recess = cone ? RECESS_SUNK : RECESS_BORED;
}

/* False: something stands in it, so that it is a groove around that. */
static bool is_empty(const struct hole_finder *f, const struct screw_hole *hole)
{
    struct vec from = vec_along(hole->at, hole->depth, hole->along);
    struct vec side = vec_cross(hole->up, hole->along);
    for (int i = 0; i < RAYS; i++) {
        if (hole_far(f, from, spoke(hole->up, side, i)) < 0.45 * hole->width)
            return false;
    }
    return true;
}

static bool is_clear(const struct hole_finder *f, const struct screw_hole *hole)
{
    struct vec from = vec_along(hole->at, hole->depth, hole->along);
    return isinf(hole_far(f, from, hole->along)) &&
           isinf(hole_far(f, from, vec_scale(hole->along, -1)));
}

static void make_bore(const struct chain *c, struct screw_hole *hole)
{
    const struct round *own = wall(c, c->hole);
    int end = entrance(c);
    struct vec u, v;
    double rim = rim_of(c, end), other = rim_of(c, !end);
    const struct step *step = &c->step[c->hole];
    double least = own->end[ROUND_LOW].most, most = own->end[ROUND_HIGH].least;
    double middle = least < most ? (least + most) / 2 : (step->from + step->to) / 2;
    *hole = (struct screw_hole){.kind = SCREW_HOLE_BORE,
                                .at = vec_along(c->at, rim, c->axis),
                                .along = vec_scale(c->axis, end ? -1 : 1),
                                .width = own->narrow,
                                .corners = 2 * own->on.radius,
                                .off = own->off,
                                .depth = fabs(middle - rim),
                                .through = c->open[0] && c->open[1],
                                .length = fabs(other - rim)};
    vec_frame(hole->along, &u, &v);
    hole->up = u;
    hole->clear = hole->through && is_clear(c->finder, hole);
    add_recess(c, end, rim, hole);
}

enum status bores_find(struct hole_finder *f)
{
    for (size_t i = 0; i < f->rounds.count; i++) {
        struct chain chain;
        if (job_cancelled(f->job))
            return job_fail_cancelled(f->job);
        if (!is_full(f, i))
            continue;
        make_chain(f, i, &chain);
        enum status status = look_at_ends(&chain, f);
        if (status != STATUS_OK)
            return status;
        look_outside(&chain);
        for (int k = 0; k < chain.count; k++)
            f->used[chain.step[k].wall] = true;
        double width = wall(&chain, chain.hole)->narrow;
        if (!(chain.outside[0] || chain.outside[1]) || width > widest)
            continue;
        make_bore(&chain, &f->item[f->count]);
        f->count += is_empty(f, &f->item[f->count]);
    }
    return STATUS_OK;
}
