/* Which plane is the table. */
#include "core/nth.h"
#include "scan/table_parts.h"

enum {
    TRIES = 512, /* patches: a table of 3 % of all is missed once in six million times */
    PATCH = 16,  /* samples that make one */
    KNOWN = 64,  /* the planes judged last, not to judge them again */
    TABLES = 64, /* planes that may be the table */
    SIDES = 8    /* directions in which what stands on a plane is measured */
};

static const double
    least_share = 0.015, /* of all samples that lie in a table and reach beyond what stands on it */
    fewest_above = 3,    /* samples that stand on it */
    most_close =
        0.15, /* of what lies in it: just beneath it; a curved surface cut through has half */
    most_beneath = 0.25, /* of what does not lie in it: floor, rim of a turntable */
    agreeing = 0.7,      /* of its faces, for these to tell above from below */
    stray_share = 0.005; /* of what stands on it: specks that do not count at each end */

/* --- judging --------------------------------------------------------------------------------- */

/* Counts, and turns the normal to where the faces look, else to where more of the rest is. */
static void take_sides(const struct survey *s, struct candidate *c)
{
    double facing = 0;
    size_t told = 0;
    c->in = c->above = c->beneath = 0;
    for (size_t i = 0; i < s->count; i++) {
        double height = plane_height(&c->plane, s->sample[i].at);
        double face = vec_dot(c->plane.normal, s->sample[i].normal);
        if (height > s->coarse) {
            c->above++;
        } else if (height < -s->coarse) {
            c->beneath++;
        } else {
            c->in++;
            told += face != 0;
            facing += face > 0 ? 1 : face < 0 ? -1 : 0;
        }
    }
    c->faces = told > 0 && fabs(facing) >= (2 * agreeing - 1) * (double)told;
    if (c->faces ? facing < 0 : c->beneath > c->above) {
        size_t other = c->above;
        c->above = c->beneath;
        c->beneath = other;
        c->plane.normal = vec_scale(c->plane.normal, -1);
    }
}

/* What stands on the plane, seen along its normal, as the region between parallel lines in SIDES
 * directions: by how much each sample that lies in the plane is outside of it. */
static double share_beyond(const struct survey *s, const struct candidate *c)
{
    struct vec u, v;
    double most[SIDES], least[SIDES], margin = 0.01 * s->size;
    size_t outside = 0, stray = (size_t)(stray_share * (double)c->above);
    vec_frame(c->plane.normal, &u, &v);
    struct vec along[SIDES];
    for (int k = 0; k < SIDES; k++) {
        double angle = 3.14159265358979323846 * k / SIDES;
        along[k] = vec_along(vec_scale(u, cos(angle)), sin(angle), v);
        size_t n = 0;
        for (size_t i = 0; i < s->count; i++)
            if (plane_height(&c->plane, s->sample[i].at) > s->coarse)
                s->number[n++] = vec_dot(along[k], s->sample[i].at);
        least[k] = nth_smallest(s->number, n, stray) - margin;
        most[k] = nth_smallest(s->number, n, n - 1 - stray) + margin;
    }
    for (size_t i = 0; i < s->count; i++) {
        if (fabs(plane_height(&c->plane, s->sample[i].at)) > s->coarse)
            continue;
        bool out = false;
        for (int k = 0; k < SIDES && !out; k++) {
            double x = vec_dot(along[k], s->sample[i].at);
            out = x < least[k] || x > most[k];
        }
        outside += out;
    }
    return (double)outside / (double)c->in;
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

void table_judge(const struct survey *s, struct candidate *c)
{
    take_sides(s, c);
    c->score = c->beyond = 0;
    double count = (double)s->count, in = (double)c->in, rest = (double)(c->above + c->beneath);
    if (in < least_share * count || (double)c->above < fewest_above ||
        (double)c->beneath > most_beneath * rest || (double)just_beneath(s, c) > most_close * in)
        return;
    c->beyond = share_beyond(s, c);
    if (in * c->beyond >= least_share * count)
        c->score = in / count * c->beyond * (1 - (double)c->beneath / rest / most_beneath);
}

/* --- looking --------------------------------------------------------------------------------- */

bool table_patch(const struct survey *s, size_t seed, struct plane *plane)
{
    struct vec point[PATCH];
    double far[PATCH], rms;
    size_t n = 0;
    for (size_t i = 0; i < s->count; i++) {
        double d = vec_length2(vec_sub(s->sample[i].at, s->sample[seed].at));
        if (n == PATCH && d >= far[n - 1])
            continue;
        size_t at = n < PATCH ? n++ : n - 1;
        for (; at > 0 && far[at - 1] > d; at--) {
            far[at] = far[at - 1];
            point[at] = point[at - 1];
        }
        far[at] = d;
        point[at] = s->sample[i].at;
    }
    return plane_fit(point, n, plane, &rms) && rms <= s->coarse;
}

bool table_refit(const struct survey *s, struct plane *plane, double tolerance)
{
    size_t n = 0;
    double rms;
    for (size_t i = 0; i < s->count; i++)
        if (fabs(plane_height(plane, s->sample[i].at)) <= tolerance)
            s->chosen[n++] = s->sample[i].at;
    return plane_fit(s->chosen, n, plane, &rms);
}

static bool is_same(const struct survey *s, const struct plane *a, const struct plane *b)
{
    return fabs(vec_dot(a->normal, b->normal)) > 0.9994 && /* 2 degrees */
           fabs(plane_height(a, b->through)) < s->coarse;
}

/* A plane found from a patch, if it is worth looking at and none of those that were. */
static bool next_plane(const struct survey *s, size_t seed, const struct plane *known, size_t count,
                       struct plane *plane)
{
    if (!table_patch(s, seed, plane) || !table_refit(s, plane, 2 * s->coarse) ||
        !table_refit(s, plane, s->coarse))
        return false;
    for (size_t i = 0; i < count; i++)
        if (is_same(s, &known[i], plane))
            return false;
    return true;
}

/* Of candidates for the table, the lowest below the best one and about parallel to it: a plinth's
 * top may be larger than what is seen of the table beneath it. */
static struct candidate lowest(const struct survey *s, const struct candidate *list, size_t count,
                               struct candidate best)
{
    struct candidate low = best;
    for (size_t i = 0; i < count; i++) {
        bool parallel = vec_dot(list[i].plane.normal, best.plane.normal) > 0.966; /* 15 degrees */
        if (list[i].score > 0 && parallel &&
            plane_height(&low.plane, list[i].plane.through) < -2 * s->coarse)
            low = list[i];
    }
    return low;
}

struct candidate table_look(const struct survey *s, bool *flat)
{
    struct plane known[KNOWN];
    struct candidate list[TABLES], best = {.score = 0};
    size_t count = 0, tables = 0;
    uint64_t state = 1;
    *flat = false;
    for (int i = 0; i < TRIES && tables < TABLES; i++) {
        struct candidate c = {.score = 0};
        size_t seed = (size_t)(samples_random(&state) * (double)s->count);
        if (!next_plane(s, seed, known, count < KNOWN ? count : KNOWN, &c.plane))
            continue;
        known[count++ % KNOWN] = c.plane;
        table_judge(s, &c);
        *flat = *flat || (double)c.in > 0.97 * (double)s->count;
        if (c.score > 0)
            list[tables++] = c;
        if (c.score > best.score)
            best = c;
    }
    return best.score > 0 ? lowest(s, list, tables, best) : best;
}
