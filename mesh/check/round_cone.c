#include <math.h>
#include <stdlib.h>

#include "check/round.h"
#include "core/job.h"

enum { MEMBER = ROUND_INSIDE, CONE = ROUND_OTHERS };
enum { LOOK = 1024 }; /* triangles between two looks at cancel */

static const double degree = 3.14159265358979323846 / 180;
static const double least_half = 15, most_half = 75; /* degrees */
static const double apart = 4;                       /* degrees: faces of one cone */
static const double loose = 0.025, looser = 0.02;    /* of the radius, and mm */

struct walk {
    struct rounds *rounds;
    const struct round *round;
    double way;  /* 1 or -1: along the axis, out of that end */
    double from; /* height of that end */
    double half; /* radians; 0: not known yet */
    uint32_t *queue;
    size_t queued, room;
    double rim; /* radians of the wall's end behind which it is a cone */
    struct job *job;
    enum status status;
};

/* Radians between axis and face, of one that looks to the axis and out of the hole; 0: not so. */
static double half_of(const struct walk *w, const struct face *f)
{
    const struct cylinder *on = &w->round->on;
    struct vec middle =
        vec_scale(vec_add(f->corner[0], vec_add(f->corner[1], f->corner[2])), 1.0 / 3);
    double out = vec_dot(f->normal, cylinder_polar(on, middle).out);
    double along = w->way * vec_dot(f->normal, on->axis);
    double across = sqrt(fmax(1 - along * along, 0));
    bool square = -out > across * cos(w->round->facet / 2 + 6 * degree);
    return f->sure && square && along > 0 ? asin(fmin(along, 1)) : 0;
}

static bool lies_on(const struct walk *w, const struct face *f)
{
    const struct round *round = w->round;
    for (int k = 0; k < 3; k++) {
        struct polar p = cylinder_polar(&round->on, f->corner[k]);
        double rise = w->way * (p.height - w->from);
        double radius = round->on.radius + rise * tan(w->half);
        double slack = loose * fmax(radius, round->on.radius) + looser;
        double least = radius * cos(round->facet / 2) - slack;
        if (!(p.radius < radius + slack && p.radius > least))
            return false;
    }
    return !f->sure || fabs(half_of(w, f) - w->half) < apart * degree;
}

static void push(struct walk *w, uint32_t triangle)
{
    if (w->queued == w->room) {
        size_t room = 2 * w->room + 256;
        uint32_t *queue = realloc(w->queue, room * sizeof *queue);
        if (!queue) {
            w->status = job_fail_memory(w->job, room * sizeof *queue);
            return;
        }
        w->queue = queue;
        w->room = room;
    }
    w->rounds->state[triangle] |= CONE;
    w->queue[w->queued++] = triangle;
}

/* Whether to go on, asked now and then. */
static bool goes_on(struct walk *w, size_t i)
{
    if (i % LOOK == 0 && job_cancelled(w->job))
        w->status = job_fail_cancelled(w->job);
    return w->status == STATUS_OK;
}

/* The face behind a side of the wall: of the cone, if it is like the first such. */
static void begin(struct walk *w, uint32_t across, double by)
{
    struct face next = round_face(w->rounds, across / 3);
    double half = half_of(w, &next);
    if (w->half == 0 && half > least_half * degree && half < most_half * degree)
        w->half = half;
    if (w->half == 0 || !lies_on(w, &next))
        return;
    w->rim += fabs(by);
    if (!(w->rounds->state[across / 3] & CONE))
        push(w, across / 3);
}

static void begin_all(struct walk *w, int end)
{
    const struct rounds *r = w->rounds;
    const uint32_t *member = r->member + w->round->first;
    for (uint32_t i = 0; i < w->round->count && goes_on(w, i); i++) {
        struct face f = round_face(r, member[i]);
        for (uint32_t k = 0; k < 3; k++) {
            uint32_t across = half_across(r->topology, 3 * member[i] + k);
            if (across == NO_INDEX || r->state[across / 3] & MEMBER)
                continue;
            struct polar a = cylinder_polar(&w->round->on, f.corner[k]);
            struct polar b = cylinder_polar(&w->round->on, f.corner[(k + 1) % 3]);
            double by = polar_between(&w->round->on, &a, &b);
            if (round_side(by) == end)
                begin(w, across, by);
        }
    }
}

static void flood(struct walk *w)
{
    for (size_t i = 0; i < w->queued && goes_on(w, i); i++)
        for (uint32_t k = 0; k < 3; k++) {
            uint32_t across = half_across(w->rounds->topology, 3 * w->queue[i] + k);
            if (across == NO_INDEX || w->rounds->state[across / 3] & (CONE | MEMBER))
                continue;
            struct face next = round_face(w->rounds, across / 3);
            if (lies_on(w, &next))
                push(w, across / 3);
        }
}

/* The far end: the means of its corners, each by the angle that it takes. */
static void measure(const struct walk *w, struct cone *out)
{
    const struct rounds *r = w->rounds;
    double radius = 0, far = 0, around = 0, half = 0, area = 0;
    for (size_t i = 0; i < w->queued; i++) {
        struct face f = round_face(r, w->queue[i]);
        half += f.sure ? f.area * half_of(w, &f) : 0;
        area += f.sure ? f.area : 0;
        for (uint32_t k = 0; k < 3; k++) {
            uint32_t across = half_across(r->topology, 3 * w->queue[i] + k);
            if (across != NO_INDEX && r->state[across / 3] & (CONE | MEMBER))
                continue;
            struct polar a = cylinder_polar(&w->round->on, f.corner[k]);
            struct polar b = cylinder_polar(&w->round->on, f.corner[(k + 1) % 3]);
            double by = fabs(polar_between(&w->round->on, &a, &b));
            radius += by * (a.radius + b.radius) / 2;
            far += by * (a.height + b.height) / 2;
            around += by;
        }
    }
    out->share = fmin(w->rim / (360 * degree), 1);
    out->half = area > 0 ? half / area : w->half;
    out->wide = around > 0 ? 2 * radius / around * w->round->narrow / (2 * w->round->on.radius) : 0;
    out->to = around > 0 ? far / around : 0;
}

static void mark(const struct walk *w, bool on)
{
    const uint32_t *member = w->rounds->member + w->round->first;
    for (uint32_t i = 0; i < w->round->count; i++)
        w->rounds->state[member[i]] = on ? MEMBER : 0;
    for (size_t i = 0; i < w->queued && !on; i++)
        w->rounds->state[w->queue[i]] = 0;
}

enum status round_cone(struct rounds *rounds, const struct round *round, int end, struct cone *out,
                       struct job *job)
{
    struct walk w = {.rounds = rounds,
                     .round = round,
                     .way = end == ROUND_HIGH ? 1 : -1,
                     .from = round->end[end].mean,
                     .job = job};
    *out = (struct cone){0};
    mark(&w, true);
    begin_all(&w, end);
    flood(&w);
    if (w.status == STATUS_OK && w.queued)
        measure(&w, out);
    mark(&w, false);
    free(w.queue);
    return w.status;
}
