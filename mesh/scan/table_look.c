/* Which plane is the table. */
#include "core/job.h"
#include "core/nth.h"
#include "scan/table_parts.h"

enum {
    TRIES = 512, /* patches: a table of 3 % of all is missed once in six million times */
    PATCH = 16,  /* samples that make one */
    PROBES = 64, /* patches that tell the noise */
    REFITS = 8,
    KNOWN = 64, /* the planes judged last, not to judge them again */
    TABLES = 64 /* planes that may be the table */
};

/* The plane of the samples nearest to sample `seed`, and how far they lie from it. */
static bool patch(const struct survey *s, size_t seed, struct plane *plane, double *rms)
{
    struct vec point[PATCH];
    double far[PATCH];
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
    return plane_fit(point, n, plane, rms);
}

bool table_patch(const struct survey *s, size_t seed, struct plane *plane)
{
    double rms;
    return patch(s, seed, plane, &rms) && rms <= s->coarse;
}

double table_noise(const struct survey *s)
{
    double noise[PROBES];
    size_t n = 0;
    uint64_t state = 3;
    for (int i = 0; i < PROBES; i++) {
        struct plane plane;
        size_t seed = (size_t)(samples_random(&state) * (double)s->count);
        if (patch(s, seed, &plane, &noise[n]))
            n++;
    }
    return n ? nth_smallest(noise, n, n / 10) : 0;
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

/* Whether the planes part by less than the tolerance all over. */
static bool is_same(const struct survey *s, const struct plane *a, const struct plane *b)
{
    return vec_length(vec_cross(a->normal, b->normal)) * s->size < s->coarse &&
           fabs(plane_height(a, b->through)) < s->coarse;
}

/* Fits the plane to what lies in it, again and again until that stays the same. */
static bool settle(const struct survey *s, struct plane *plane)
{
    if (!table_refit(s, plane, 2 * s->coarse))
        return false;
    for (int i = 0; i < REFITS; i++) {
        struct plane before = *plane;
        if (!table_refit(s, plane, s->coarse))
            return false;
        if (vec_length(vec_cross(before.normal, plane->normal)) * s->size < 0.05 * s->coarse)
            break;
    }
    return true;
}

/* A plane found from a patch, if it is worth looking at and none of those that were. */
static bool next_plane(const struct survey *s, size_t seed, const struct plane *known, size_t count,
                       struct plane *plane)
{
    if (!table_patch(s, seed, plane) || !settle(s, plane))
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
    for (int i = 0; i < TRIES && tables < TABLES && !job_cancelled(s->job); i++) {
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
