/* Whether a plane is a table. */
#include "core/nth.h"
#include "scan/table_parts.h"

static const double
    least_share = 0.015, /* of all samples that lie in a table and reach beyond what stands on it */
    fewest_above = 3,    /* samples that stand on it */
    least_above = 0.03,  /* of what does not lie in it */
    most_close =
        0.15, /* of what lies in it: just beneath it; a curved surface cut through has half */
    most_under = 0.15,   /* of what lies in it: right under it, where a table would hide it */
    agreeing = 0.7,      /* of its faces, for these to tell above from below */
    stray_share = 0.005; /* specks that do not count at each end of a girth */

/* --- seen along its normal ------------------------------------------------------------------- */

enum { SIDES = 8 };
enum which { IN_PLANE, ABOVE };

/* What lies in the plane, or above it, as the region between parallel lines in some directions. */
struct girth {
    struct vec along[SIDES];
    double least[SIDES], most[SIDES];
};

static bool belongs(const struct survey *s, const struct plane *plane, enum which which, size_t i)
{
    double height = plane_height(plane, s->sample[i].at);
    return which == ABOVE ? height > s->coarse : fabs(height) <= s->coarse;
}

/* Of at least one sample. */
static struct girth girth_of(const struct survey *s, const struct plane *plane, enum which which)
{
    struct girth g;
    struct vec u, v;
    vec_frame(plane->normal, &u, &v);
    for (int k = 0; k < SIDES; k++) {
        double angle = 3.14159265358979323846 * k / SIDES;
        g.along[k] = vec_along(vec_scale(u, cos(angle)), sin(angle), v);
        size_t n = 0;
        for (size_t i = 0; i < s->count; i++)
            if (belongs(s, plane, which, i))
                s->number[n++] = vec_dot(g.along[k], s->sample[i].at);
        size_t stray = (size_t)(stray_share * (double)n);
        g.least[k] = nth_smallest(s->number, n, stray);
        g.most[k] = nth_smallest(s->number, n, n - 1 - stray);
    }
    return g;
}

/* Within the girth made wider by the margin. */
static bool is_within(const struct girth *g, struct vec at, double margin)
{
    for (int k = 0; k < SIDES; k++) {
        double x = vec_dot(g->along[k], at);
        if (x < g->least[k] - margin || x > g->most[k] + margin)
            return false;
    }
    return true;
}

/* The share of what lies in the plane that is beyond what stands on it. */
static double share_beyond(const struct survey *s, const struct candidate *c)
{
    struct girth above = girth_of(s, &c->plane, ABOVE);
    size_t beyond = 0;
    for (size_t i = 0; i < s->count; i++)
        beyond += belongs(s, &c->plane, IN_PLANE, i) &&
                  !is_within(&above, s->sample[i].at, 0.01 * s->size);
    return (double)beyond / (double)c->in;
}

/* --- above and beneath ----------------------------------------------------------------------- */

static void turn_over(struct candidate *c)
{
    size_t other = c->above;
    c->above = c->beneath;
    c->beneath = other;
    c->plane.normal = vec_scale(c->plane.normal, -1);
}

/* How the faces of what lies in the plane look: 1 all along its normal, -1 all against it. */
static double count_sides(const struct survey *s, struct candidate *c, bool *told)
{
    double facing = 0;
    size_t faces = 0;
    c->in = c->above = c->beneath = 0;
    for (size_t i = 0; i < s->count; i++) {
        double height = plane_height(&c->plane, s->sample[i].at);
        double face = vec_dot(c->plane.normal, s->sample[i].normal);
        bool in = fabs(height) <= s->coarse;
        c->in += in;
        c->above += !in && height > 0;
        c->beneath += !in && height < 0;
        faces += in && face != 0;
        facing += !in || face == 0 ? 0 : face > 0 ? 1 : -1;
    }
    *told = faces > 0;
    return faces ? facing / (double)faces : 0;
}

/* Whether more of the rest stands beneath the plane than on it: over its middle, where a table
 * hides what is beneath; its rim and the floor lie outside of that. What is near the plane may be
 * noise. */
static bool stands_beneath(const struct survey *s, const struct candidate *c)
{
    struct girth in = girth_of(s, &c->plane, IN_PLANE);
    size_t above = 0, beneath = 0;
    for (size_t i = 0; i < s->count; i++) {
        double height = plane_height(&c->plane, s->sample[i].at);
        if (fabs(height) <= 3 * s->coarse || !is_within(&in, s->sample[i].at, -0.02 * s->size))
            continue;
        above += height > 0;
        beneath += height < 0;
    }
    return above == beneath ? c->beneath > c->above : beneath > above;
}

/* Turns the normal to where the faces look; where they tell nothing, to what stands on the plane.
 */
static void take_sides(const struct survey *s, struct candidate *c)
{
    bool told;
    double facing = count_sides(s, c, &told);
    c->faces = told && fabs(facing) >= 2 * agreeing - 1;
    bool enough = (double)c->in >= least_share * (double)s->count;
    if (c->faces ? facing < 0 : enough && stands_beneath(s, c))
        turn_over(c);
}

static size_t just_beneath(const struct survey *s, const struct candidate *c)
{
    size_t count = 0;
    for (size_t i = 0; i < s->count; i++) {
        double height = plane_height(&c->plane, s->sample[i].at) / s->coarse;
        count += height < -1 && height >= -2;
    }
    return count;
}

/* --- right under ----------------------------------------------------------------------------- */

enum { FEW = 512, PROBES = 64, NEAREST = 3 };

struct place { /* a sample seen along the normal */
    double a, b;
};

/* Some of the samples that lie in the plane, or beneath it; returns how many. */
static size_t see_some(const struct survey *s, const struct candidate *c, bool beneath,
                       struct place seen[FEW])
{
    struct vec u, v;
    size_t all = beneath ? c->beneath : c->in, every = all / FEW + 1, n = 0, at = 0;
    vec_frame(c->plane.normal, &u, &v);
    for (size_t i = 0; i < s->count; i++) {
        double height = plane_height(&c->plane, s->sample[i].at);
        if (beneath ? height < -s->coarse : fabs(height) <= s->coarse)
            if (at++ % every == 0 && n < FEW)
                seen[n++] =
                    (struct place){vec_dot(s->sample[i].at, u), vec_dot(s->sample[i].at, v)};
    }
    return n;
}

/* The median of how far it is from one of the places to the third nearest. */
static double spacing_of(const struct place *seen, size_t n)
{
    double far[PROBES];
    size_t probes = n < PROBES ? n : PROBES;
    for (size_t i = 0; i < probes; i++) {
        double near[NEAREST + 1] = {INFINITY, INFINITY, INFINITY, INFINITY}; /* itself too */
        for (size_t j = 0; j < n; j++) {
            const struct place *p = &seen[i * n / probes];
            double d = hypot(seen[j].a - p->a, seen[j].b - p->b);
            int at = NEAREST;
            if (d >= near[at])
                continue;
            for (; at > 0 && near[at - 1] > d; at--)
                near[at] = near[at - 1];
            near[at] = d;
        }
        far[i] = near[NEAREST];
    }
    return probes ? nth_smallest(far, probes, probes / 2) : 0;
}

/* Whether some of the places lie near on all four sides of p: it is not at their border. */
static bool is_amid(const struct place *seen, size_t n, struct place p, double reach)
{
    unsigned sides = 0;
    for (size_t i = 0; i < n && sides != 15; i++) {
        double a = seen[i].a - p.a, b = seen[i].b - p.b;
        if (hypot(a, b) <= reach)
            sides |= 1u << ((a > 0) + 2 * (b > 0));
    }
    return sides == 15;
}

/* How many samples lie right under the plane, where it would hide them if it were a table. A solid
 * seen from all sides has them under each of its faces. */
static double right_under(const struct survey *s, const struct candidate *c)
{
    struct place in[FEW], beneath[FEW];
    size_t ins = see_some(s, c, false, in), beneaths = see_some(s, c, true, beneath), under = 0;
    double reach = 2 * spacing_of(in, ins);
    for (size_t i = 0; i < beneaths; i++)
        under += is_amid(in, ins, beneath[i], reach);
    return beneaths ? (double)under / (double)beneaths * (double)c->beneath : 0;
}

/* --- all of it ------------------------------------------------------------------------------- */

void table_judge(const struct survey *s, struct candidate *c)
{
    take_sides(s, c);
    c->score = c->beyond = 0;
    double count = (double)s->count, in = (double)c->in, above = (double)c->above;
    double rest = above + (double)c->beneath;
    if (in < least_share * count || above < fewest_above || above < least_above * rest ||
        (double)just_beneath(s, c) > most_close * in || right_under(s, c) > most_under * in)
        return;
    c->beyond = share_beyond(s, c);
    if (in * c->beyond >= least_share * count)
        c->score = in / count * c->beyond * above / rest;
}
