#include <float.h>
#include <math.h>
#include <string.h>

#include "check/round.h"
#include "core/job.h"

static const double pi = 3.14159265358979323846;

enum {
    BINS = 360, /* around the axis */
    LOOK = 1024 /* triangles between two looks at cancel */
};

struct around { /* seen along the axis, one a degree */
    bool taken[BINS];
    bool rim[ROUND_ENDS][BINS];
    double height[ROUND_ENDS][BINS];
    double inward[ROUND_ENDS], outward[ROUND_ENDS]; /* radians of rim */
};

struct look {
    const struct rounds *rounds;
    const struct cylinder *on;
    struct vec u, v; /* across the axis: angle 0, a right angle */
    struct around around;
};

static bool is_time(uint32_t i, const struct job *job)
{
    return i % LOOK == 0 && job_cancelled(job);
}

static double angle_of(const struct look *l, const struct polar *p)
{
    double angle = atan2(vec_dot(p->out, l->v), vec_dot(p->out, l->u));
    return angle < 0 ? angle + 2 * pi : angle;
}

/* From a to b the short way round, -pi to pi. */
static double between(double a, double b)
{
    return remainder(b - a, 2 * pi);
}

static size_t bin_of(double angle)
{
    double share = angle / (2 * pi) - floor(angle / (2 * pi));
    size_t bin = (size_t)(share * BINS);
    return bin < BINS ? bin : BINS - 1;
}

/* The bins that a side of a triangle passes over. */
static void take_side(struct look *l, double from, double by)
{
    int steps = (int)ceil(fabs(by) / (2 * pi) * BINS * 2);
    for (int i = 0; i <= steps; i++)
        l->around.taken[bin_of(from + by * i / (steps + 1e-9))] = true;
}

static void take_rim(struct look *l, int end, double from, double by, double low, double high)
{
    int steps = (int)ceil(fabs(by) / (2 * pi) * BINS * 2);
    for (int i = 0; i <= steps && steps > 0; i++) {
        double share = (double)i / steps, z = low + share * (high - low);
        size_t bin = bin_of(from + by * share);
        double *height = &l->around.height[end][bin];
        bool further = end == ROUND_LOW ? z < *height : z > *height;
        if (!l->around.rim[end][bin] || further)
            *height = z;
        l->around.rim[end][bin] = true;
    }
}

/* Where the surface goes on behind a side of the rim: seen at the middle of the triangle there,
 * against the middle of the side, as that is nearer to the axis than its ends. */
static void look_behind(struct look *l, int end, uint32_t across, struct vec side, double by)
{
    if (across == NO_INDEX)
        return;
    struct face f = round_face(l->rounds, across / 3);
    struct vec middle = vec_scale(vec_add(f.corner[0], vec_add(f.corner[1], f.corner[2])), 1.0 / 3);
    bool inward = cylinder_polar(l->on, middle).radius < cylinder_polar(l->on, side).radius;
    double *behind = inward ? l->around.inward : l->around.outward;
    behind[end] += fabs(by);
}

static void look_at(struct look *l, uint32_t triangle)
{
    struct face f = round_face(l->rounds, triangle);
    struct polar p[3];
    double angle[3];
    for (int k = 0; k < 3; k++) {
        p[k] = cylinder_polar(l->on, f.corner[k]);
        angle[k] = angle_of(l, &p[k]);
    }
    for (uint32_t k = 0; k < 3; k++) {
        uint32_t next = (k + 1) % 3, across = half_across(l->rounds->topology, 3 * triangle + k);
        double by = between(angle[k], angle[next]);
        take_side(l, angle[k], by);
        if (across != NO_INDEX && l->rounds->state[across / 3] & ROUND_INSIDE)
            continue;
        /* along the axis it is no end, but where the wall is cut off sideways */
        double rise = fabs(p[next].height - p[k].height);
        if (rise > 4 * l->on->radius * fabs(by))
            continue;
        int end = round_side(by);
        take_rim(l, end, angle[k], by, p[k].height, p[next].height);
        struct vec side = vec_scale(vec_add(f.corner[k], f.corner[next]), 0.5);
        look_behind(l, end, across, side, by);
    }
}

/* The longest run of bins that nothing takes, and the middle of all else. */
static double find_arc(const struct look *l, struct vec *middle)
{
    int gap = 0, run = 0, ends = 0;
    for (int i = 0; i < 2 * BINS; i++) {
        run = l->around.taken[i % BINS] ? 0 : run + 1;
        if (run > gap && run <= BINS) {
            gap = run;
            ends = i % BINS;
        }
    }
    double at = 2 * pi * (ends - (gap - 1) / 2.0 + 0.5) / BINS + pi;
    *middle = vec_add(vec_scale(l->u, cos(at)), vec_scale(l->v, sin(at)));
    return 360 - 360.0 * gap / BINS;
}

static void find_ends(const struct look *l, struct round *round)
{
    for (int e = 0; e < ROUND_ENDS; e++) {
        struct round_end *end = &round->end[e];
        double sum = 0, behind = l->around.inward[e] + l->around.outward[e] + DBL_MIN;
        int count = 0;
        *end = (struct round_end){INFINITY, 0, -INFINITY, l->around.inward[e] / behind,
                                  l->around.outward[e] / behind};
        for (int i = 0; i < BINS; i++) {
            if (!l->around.rim[e][i])
                continue;
            double z = l->around.height[e][i];
            end->least = fmin(end->least, z);
            end->most = fmax(end->most, z);
            sum += z;
            count++;
        }
        end->mean = count ? sum / count : 0;
    }
}

/* Twice the least distance of facets from the axis; tiny ones, which rounding tilts, do not count.
 */
static double narrow_of(const struct rounds *rounds, const struct round *round,
                        const struct job *job)
{
    double area = 0, least = round->on.radius;
    for (uint32_t i = 0; i < round->count && !is_time(i, job); i++)
        area += round_face(rounds, rounds->member[round->first + i]).area;
    for (uint32_t i = 0; i < round->count && !is_time(i, job); i++) {
        struct face f = round_face(rounds, rounds->member[round->first + i]);
        double across = vec_dot(f.normal, round->on.axis);
        struct vec from = vec_sub(f.corner[0], round->on.at);
        struct vec flat = vec_along(f.normal, -across, round->on.axis);
        double distance = -vec_dot(vec_along(from, -vec_dot(from, round->on.axis), round->on.axis),
                                   vec_unit(flat));
        if (f.sure && f.area * round->count > 0.01 * area)
            least = fmin(least, distance);
    }
    return 2 * least;
}

void round_look(const struct rounds *rounds, struct round *round, const struct job *job)
{
    struct look l = {.rounds = rounds, .on = &round->on};
    vec_frame(round->on.axis, &l.u, &l.v);
    for (uint32_t i = 0; i < round->count && !is_time(i, job); i++)
        look_at(&l, rounds->member[round->first + i]);
    round->arc = find_arc(&l, &round->middle);
    find_ends(&l, round);
    round->narrow = narrow_of(rounds, round, job);
}
