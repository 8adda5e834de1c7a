/* Several levels in one plane, as far as the coarse tolerance can tell: a plate on the table. The
 * lowest is the table: looked for among what lies near the plane, as the table was, with a finer
 * tolerance. */
#include "scan/table_parts.h"

enum { TRIES = 64, FINER = 5, MOST = 4096 };
static const double most_lower = 0.1, /* of a level's samples: what may lie beneath it */
    least_upper = 0.1, /* of them: what lies clearly above makes a level of its own */
    least_part = 0.25; /* of all near the plane: what a level has */

/* The samples within twice the coarse tolerance of the plane, thinned out; returns how many. */
static size_t near_plane(const struct survey *s, const struct plane *plane, struct sample *near)
{
    size_t count = 0, every = s->count / MOST + 1;
    for (size_t i = 0; i < s->count; i += every)
        if (fabs(plane_height(plane, s->sample[i].at)) <= 2 * s->coarse)
            near[count++] = s->sample[i];
    return count;
}

struct level {
    struct plane plane;
    size_t in, lower, upper;
};

static void count_level(const struct survey *near, struct level *level)
{
    level->in = level->lower = level->upper = 0;
    for (size_t i = 0; i < near->count; i++) {
        double height = plane_height(&level->plane, near->sample[i].at) / near->coarse;
        level->in += fabs(height) <= 1;
        level->lower += height < -1;
        level->upper += height > 2;
    }
}

/* The level that has most samples of those with next to none beneath; none: in is 0. */
static struct level lowest(const struct survey *near, const struct plane *plane)
{
    struct level best = {.in = 0};
    uint64_t state = 2;
    for (int i = 0; i < TRIES; i++) {
        struct level level;
        size_t seed = (size_t)(samples_random(&state) * (double)near->count);
        if (!table_patch(near, seed, &level.plane) ||
            !table_refit(near, &level.plane, 2 * near->coarse) ||
            !table_refit(near, &level.plane, near->coarse))
            continue;
        if (vec_dot(level.plane.normal, plane->normal) < 0)
            level.plane.normal = vec_scale(level.plane.normal, -1);
        count_level(near, &level);
        if (level.in > best.in && (double)level.lower <= most_lower * (double)level.in)
            best = level;
    }
    return best;
}

double table_level(const struct survey *s, struct plane *plane, bool *failed)
{
    struct survey near = *s;
    struct sample *sample = scratch_new(MOST, sizeof *sample);
    *failed = !sample;
    if (!sample)
        return s->coarse;
    near.sample = sample;
    near.count = near_plane(s, plane, sample);
    near.coarse = s->coarse / FINER;
    struct level level = lowest(&near, plane);
    double in = (double)level.in, upper = (double)level.upper;
    bool several = in >= least_part * (double)near.count && upper >= least_upper * in;
    scratch_free(sample);
    if (several)
        *plane = level.plane;
    return several ? near.coarse : s->coarse;
}
