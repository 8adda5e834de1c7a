#include "scan/seen.h"

#include <omp.h>

#include "core/job.h"

enum {
    PIXELS_MOST = 512, /* across the picture */
    SHARP_MOST = 320,  /* across one of all points */
    SAMPLES = 3000,    /* surfels that a direction is judged by */
    POINTS = 100000,   /* that evenness is judged by */
    DIRECTIONS = 91,   /* that are tried */
    WELL_BEHIND = 3,   /* pixels */
    AROUND = 2         /* pixels: so near to something seen counts as seen */
};
static const double facing = 0.643;         /* cosine of 50 degrees */
static const double turned_away = -0.2;     /* cosine: what faces away is hidden by what does not */
static const double steep_wide = 0.04;      /* of the size: what is too steep looks so wide */
static const double few = 0.1;              /* share of the surfels */
static const double not_single_from = 0.04; /* share that is hidden or faces away */
static const double not_single_sharp = 0.1; /* where points lie evenly: edges' means seem hidden */
static const double as_good = 0.012;        /* share of hidden ones that makes no difference */
static const double even_below = 0.36;   /* variation of the points in a pixel (at random: 0.47) */
static const double nearer_below = 0.99; /* of the unevenness from farther off: it stood nearer */
static const double unsure_most = 0.045; /* radians: what a sharp aim may be off, ... */
static const double unsure_pixels = 8;   /* ... so many pixels over the size */

void camera_release(struct camera *camera)
{
    for (int i = 0; i < AIMS; i++)
        scratch_free(camera->aim[i].depth);
    *camera = (struct camera){0};
}

/* --- seeing ---------------------------------------------------------------------------------- */

struct sight {
    double x, y, depth;
};

/* Where a point is seen; false: it lies beside or behind the camera. */
static bool see(const struct aim *aim, struct vec p, struct sight *out)
{
    out->depth = vec_dot(p, aim->toward);
    double shrink = 1 - aim->nearness * out->depth;
    if (shrink < 0.1)
        return false;
    out->x = vec_dot(p, aim->right) / shrink;
    out->y = vec_dot(p, aim->up) / shrink;
    return true;
}

/* The cosine between a normal and the way to the camera. */
static double rise_of(const struct aim *aim, struct vec p, struct vec n)
{
    return vec_dot(n, vec_unit(vec_along(aim->toward, -aim->nearness, p)));
}

static struct aim aim_at(struct vec toward, double nearness)
{
    struct aim aim = {.toward = toward, .nearness = nearness};
    vec_frame(toward, &aim.right, &aim.up);
    return aim;
}

/* A direction `off` radians from another, at the angle `turn` around it. */
static struct vec beside(struct vec about, double off, double turn)
{
    struct vec u, v;
    vec_frame(about, &u, &v);
    struct vec aside = vec_along(vec_scale(u, cos(turn)), sin(turn), v);
    return vec_along(vec_scale(about, cos(off)), sin(off), aside);
}

/* The i-th of directions spread over 45 degrees around one (on a sunflower's spiral). */
static struct vec direction(struct vec about, int i)
{
    return beside(about, 0.785 * sqrt((double)i / (DIRECTIONS - 1)), 2.399963 * i);
}

/* Sets the picture's place and size: `rim` pixels around all points. */
static void frame(struct aim *aim, const struct surfels *s, double pixel, int rim)
{
    double high[2] = {-INFINITY, -INFINITY};
    struct sight at;
    aim->low[0] = aim->low[1] = INFINITY;
    for (size_t i = 0; i < surfels_count(s); i++) {
        if (!see(aim, surfels_at(s, i), &at))
            continue;
        aim->low[0] = fmin(aim->low[0], at.x);
        aim->low[1] = fmin(aim->low[1], at.y);
        high[0] = fmax(high[0], at.x);
        high[1] = fmax(high[1], at.y);
    }
    aim->width = (int)((high[0] - aim->low[0]) / pixel) + 2 * rim + 1;
    aim->height = (int)((high[1] - aim->low[1]) / pixel) + 2 * rim + 1;
    aim->low[0] -= rim * pixel;
    aim->low[1] -= rim * pixel;
}

/* The least pixel, so that pictures are at most `most` pixels across, rims included: they are at
 * most 1.25 times as wide as the surfels. */
static double pixel_for(const struct surfels *s, double wanted, int most)
{
    return fmax(wanted, 1.25 * s->size / (most - 2 * AROUND - 2));
}

/* --- pictures -------------------------------------------------------------------------------- */

/* The pixel of a point; false: outside. */
static bool pixel_of(const struct aim *aim, double pixel, const struct sight *at, int *x, int *y)
{
    double fx = (at->x - aim->low[0]) / pixel, fy = (at->y - aim->low[1]) / pixel;
    if (!(fx >= 0 && fy >= 0 && fx < aim->width && fy < aim->height))
        return false;
    *x = (int)fx;
    *y = (int)fy;
    return true;
}

/* Fills the aim's depths, which have room for the picture (unwidened: what is seen at the very
 * pixel). */
static void take_picture(struct aim *aim, double pixel, const struct surfels *s)
{
    for (int i = 0; i < aim->width * aim->height; i++)
        aim->depth[i] = -INFINITY;
    for (size_t i = 0; i < surfels_count(s); i++) {
        struct sight at;
        int x, y;
        if (!see(aim, surfels_at(s, i), &at) || !pixel_of(aim, pixel, &at, &x, &y))
            continue;
        float *depth = &aim->depth[y * aim->width + x];
        *depth = fmaxf(*depth, (float)at.depth);
    }
}

/* Each depth becomes the greatest within AROUND pixels: along lines, then across them. */
static void widen(struct aim *aim, float *room)
{
    for (int way = 0; way < 2; way++) {
        int step = way ? aim->width : 1, along = way ? aim->height : aim->width;
        for (int i = 0; i < aim->width * aim->height; i++) {
            int at = way ? i / aim->width : i % aim->width;
            room[i] = -INFINITY;
            for (int k = -AROUND; k <= AROUND; k++)
                if (at + k >= 0 && at + k < along)
                    room[i] = fmaxf(room[i], aim->depth[i + k * step]);
        }
        float *swap = aim->depth;
        aim->depth = room;
        room = swap;
    }
}

/* The share of surfels that face away or lie well behind what is seen in their pixel. */
static double hidden_share(const struct aim *aim, double pixel, const struct surfels *s)
{
    size_t count = surfels_count(s), step = count / SAMPLES + 1, seen = 0, hidden = 0;
    for (size_t i = 0; i < count; i += step) {
        struct sight at;
        int x, y;
        struct vec p = surfels_at(s, i);
        seen++;
        if (rise_of(aim, p, surfels_normal(s, i)) < 0.08 || !see(aim, p, &at) ||
            !pixel_of(aim, pixel, &at, &x, &y)) {
            hidden++;
            continue;
        }
        hidden += (double)aim->depth[y * aim->width + x] - at.depth > 6 * pixel;
    }
    return (double)hidden / (double)(seen ? seen : 1);
}

/* --- evenness -------------------------------------------------------------------------------- */

enum { GRID_MOST = 1000, STRIPES = 4 };
struct evenness { /* what it is judged by */
    struct vec *at, *normal;
    size_t points;
    double pixel;
};

/* Takes all points, or stripes of their list, which are stripes of the picture where that was read
 * row by row, so that neighbours stay together. */
static enum status take_points(const struct surfels *full, struct evenness *out, struct job *job)
{
    size_t count = surfels_count(full), parts = count / POINTS + 1;
    size_t stripe = count / (STRIPES * parts) + 1;
    *out = (struct evenness){.at = scratch_new(2 * count, sizeof *out->at)};
    out->normal = out->at + count;
    out->pixel = pixel_for(full, 0.9 * full->spacing, GRID_MOST);
    if (!out->at)
        return job_fail_memory(job, 2 * count * sizeof *out->at);
    for (size_t i = 0; i < count; i++)
        if (i / stripe % parts == 0) {
            out->at[out->points] = surfels_at(full, i);
            out->normal[out->points++] = surfels_normal(full, i);
        }
    return STATUS_OK;
}

struct grid { /* of how many points fall to a pixel */
    float *sum;
    int low[2], width, height; /* pixels */
};

/* Where a point is seen, in pixels. */
static void project(const struct evenness *e, const struct aim *aim, size_t i, double at[2])
{
    struct vec p = e->at[i];
    double per = 1 / ((1 - aim->nearness * vec_dot(p, aim->toward)) * e->pixel);
    at[0] = vec_dot(p, aim->right) * per;
    at[1] = vec_dot(p, aim->up) * per;
}

/* Makes the grid as large as the picture, and empty. */
static void clear_grid(const struct evenness *e, const struct aim *aim, struct grid *grid)
{
    double low[2] = {INFINITY, INFINITY}, high[2] = {-INFINITY, -INFINITY};
    for (size_t i = 0; i < e->points; i++) {
        double at[2];
        project(e, aim, i, at);
        for (int k = 0; k < 2; k++) {
            low[k] = at[k] < low[k] ? at[k] : low[k];
            high[k] = at[k] > high[k] ? at[k] : high[k];
        }
    }
    grid->low[0] = (int)floor(low[0]);
    grid->low[1] = (int)floor(low[1]);
    grid->width = (int)floor(high[0]) - grid->low[0] + 2;
    grid->height = (int)floor(high[1]) - grid->low[1] + 2;
    for (int i = 0; i < grid->width * grid->height; i++)
        grid->sum[i] = 0;
}

/* Shares each point out among the four pixels around it. */
static void share_out(const struct evenness *e, const struct aim *aim, struct grid *grid)
{
    size_t width = (size_t)grid->width;
    for (size_t i = 0; i < e->points; i++) {
        double at[2];
        project(e, aim, i, at);
        int x = (int)(at[0] -= grid->low[0]), y = (int)(at[1] -= grid->low[1]);
        float *cell = grid->sum + (size_t)y * width + (size_t)x;
        float right = (float)(at[0] - x), up = (float)(at[1] - y);
        cell[0] += (1 - right) * (1 - up);
        cell[1] += right * (1 - up);
        cell[width] += (1 - right) * up;
        cell[width + 1] += right * up;
    }
}

/* The share of points that face away from the camera. */
static double away_share(const struct evenness *e, const struct aim *aim)
{
    size_t away = 0;
    for (size_t i = 0; i < e->points; i++)
        away += vec_dot(e->normal[i], vec_along(aim->toward, -aim->nearness, e->at[i])) < 0.1;
    return (double)away / (double)(e->points ? e->points : 1);
}

/* How unevenly the points lie in the aim's picture: the variation (standard deviation over mean) of
 * what falls to its pixels, and the share that faces away. Least from where the camera stood: from
 * elsewhere surfaces overlap, gaps open, and what was steep is dense. `room`: GRID_MOST squared. */
static double unevenness(const struct evenness *e, const struct aim *aim, float *room)
{
    struct grid grid = {.sum = room};
    size_t pixels = 0;
    double squares = 0;
    if (e->points == 0)
        return 1;
    clear_grid(e, aim, &grid);
    share_out(e, aim, &grid);
    for (int i = 0; i < grid.width * grid.height; i++) {
        pixels += grid.sum[i] > 0;
        squares += (double)grid.sum[i] * (double)grid.sum[i];
    }
    double mean = (double)e->points / (double)pixels;
    double variance = squares / (double)pixels - mean * mean;
    return sqrt(fmax(0, variance)) / mean + away_share(e, aim);
}

/* --- where it stood -------------------------------------------------------------------------- */

struct search {
    const struct surfels *full, *thin;
    struct evenness even;
    double pixel; /* of pictures of thin */
    float **room; /* one a thread, for a grid or a picture */
    struct job *job;
};

/* Judges the aims by evenness, or by what hides; values[i] is INFINITY where it was cancelled. */
static void judge(const struct search *s, struct aim *aim, int count, bool by_evenness,
                  double *value)
{
#pragma omp parallel for num_threads(job_threads(s->job)) schedule(dynamic)
    for (int i = 0; i < count; i++) {
        float *room = s->room[omp_get_thread_num()];
        value[i] = INFINITY;
        if (job_cancelled(s->job))
            continue;
        if (by_evenness) {
            value[i] = unevenness(&s->even, &aim[i], room);
            continue;
        }
        aim[i].depth = room;
        frame(&aim[i], s->thin, s->pixel, AROUND);
        take_picture(&aim[i], s->pixel, s->thin);
        value[i] = hidden_share(&aim[i], s->pixel, s->thin);
        aim[i].depth = NULL;
    }
}

/* Steps to the best of six aims around as long as that is better, then by half as much, down to
 * `last` radians. */
static void step_down(const struct search *s, double step, double last, struct aim *best,
                      double *least)
{
    while (step > last && !job_cancelled(s->job)) {
        struct aim aim[6];
        double value[6];
        int next = 0;
        for (int i = 0; i < 6; i++)
            aim[i] = aim_at(beside(best->toward, step, i * 1.0471976), best->nearness);
        judge(s, aim, 6, true, value);
        for (int i = 1; i < 6; i++)
            next = value[i] < value[next] ? i : next;
        if (value[next] >= *least) {
            step /= 2;
            continue;
        }
        *best = aim[next];
        *least = value[next];
    }
}

/* The aim of the least unevenness around a direction: far off at first, then also from near. */
static struct aim most_even(const struct search *s, struct vec about, double *least)
{
    static const double sizes[] = {8, 4, 2.5}; /* the camera's distance, in the surfels' size */
    enum { NEARER = sizeof sizes / sizeof *sizes };
    struct aim aim[DIRECTIONS];
    double value[DIRECTIONS];
    int best = 0;
    for (int i = 0; i < DIRECTIONS; i++)
        aim[i] = aim_at(direction(about, i), 0);
    judge(s, aim, DIRECTIONS, true, value);
    for (int i = 1; i < DIRECTIONS; i++)
        best = value[i] < value[best] ? i : best;
    struct aim found = aim[best];
    *least = value[best];
    step_down(s, 0.06, 0.002, &found, least);
    for (int i = 0; i < NEARER; i++) {
        struct aim nearer = aim_at(found.toward, 1 / (sizes[i] * s->full->size));
        double than = INFINITY;
        judge(s, &nearer, 1, true, &than);
        step_down(s, 0.03, 0.008, &nearer, &than);
        if (than >= nearer_below * *least)
            break;
        found = nearer;
        *least = than;
    }
    return found;
}

static struct vec mean_normal(const struct surfels *s)
{
    struct vec sum = vec(0, 0, 0);
    for (size_t i = 0; i < surfels_count(s); i++)
        sum = vec_add(sum, surfels_normal(s, i));
    return vec_unit(sum);
}

/* Aims that show all: the first the nearest to the middle of all such, then each as far as can be
 * from those before. */
static void spread_aims(const struct search *s, struct vec about, struct camera *out)
{
    struct aim aim[DIRECTIONS];
    double value[DIRECTIONS], least = INFINITY, off[DIRECTIONS];
    struct vec sum = vec(0, 0, 0);
    for (int i = 0; i < DIRECTIONS; i++)
        aim[i] = aim_at(direction(about, i), 0);
    judge(s, aim, DIRECTIONS, false, value);
    for (int i = 0; i < DIRECTIONS; i++)
        least = fmin(least, value[i]);
    out->single = least < not_single_from;
    for (int i = 0; i < DIRECTIONS; i++)
        if (value[i] <= least + as_good)
            sum = vec_add(sum, aim[i].toward);
    for (int i = 0; i < DIRECTIONS; i++)
        off[i] = value[i] <= least + as_good ? vec_dot(aim[i].toward, vec_unit(sum)) : -2;
    while (out->aims < AIMS) {
        int next = 0;
        for (int i = 1; i < DIRECTIONS; i++)
            next = off[i] > off[next] ? i : next;
        if (off[next] <= (out->aims ? 0 : -2))
            break;
        out->aim[out->aims++] = aim[next];
        for (int i = 0; i < DIRECTIONS; i++) {
            double apart = 1 - vec_dot(aim[i].toward, aim[next].toward);
            bool first = out->aims == 1;
            off[i] = off[i] < -1 ? -2 : first ? apart : fmin(off[i], apart);
        }
    }
}

/* A sharp aim, and others around it as far off as it may be. */
static void ring_aims(const struct search *s, const struct aim *sharp, struct camera *out)
{
    double hidden;
    struct aim aim = *sharp;
    double unsure = fmin(unsure_most, unsure_pixels * s->even.pixel / s->full->size);
    judge(s, &aim, 1, false, &hidden);
    out->single = hidden < not_single_sharp;
    out->sharp = true;
    out->pixel = fmin(out->pixel, pixel_for(s->thin, 1.5 * s->full->spacing, SHARP_MOST));
    for (int i = 0; i < AIMS; i++)
        out->aim[out->aims++] =
            i ? aim_at(beside(sharp->toward, unsure, i * 1.0471976), sharp->nearness) : *sharp;
}

static enum status take_pictures(const struct search *s, struct camera *out)
{
    for (int i = 0; i < out->aims; i++) {
        struct aim *aim = &out->aim[i];
        frame(aim, s->thin, out->pixel, AROUND);
        size_t pixels = (size_t)aim->width * (size_t)aim->height;
        aim->depth = scratch_new(pixels, sizeof *aim->depth);
        if (!aim->depth)
            return job_fail_memory(s->job, pixels * sizeof *aim->depth);
        take_picture(aim, out->pixel, out->sharp ? s->full : s->thin);
        widen(aim, s->room[0]);
    }
    return STATUS_OK;
}

static enum status find(struct search *s, struct camera *out)
{
    struct vec about = mean_normal(s->thin);
    double least;
    if (surfels_count(s->thin) == 0 || vec_length2(about) == 0)
        return STATUS_OK;
    struct aim sharp = most_even(s, about, &least);
    if (least < even_below)
        ring_aims(s, &sharp, out);
    else
        spread_aims(s, about, out);
    if (job_cancelled(s->job))
        return job_fail_cancelled(s->job);
    return out->single ? take_pictures(s, out) : STATUS_OK;
}

enum status camera_find(const struct surfels *full, const struct surfels *thin, struct camera *out,
                        struct job *job)
{
    int threads = job_threads(job), made = 0;
    float **room = scratch_new((size_t)threads, sizeof *room);
    struct search s = {.full = full, .thin = thin, .room = room, .job = job};
    *out = (struct camera){.pixel = pixel_for(thin, 1.2 * thin->spacing, PIXELS_MOST)};
    s.pixel = out->pixel;
    for (; room && made < threads; made++) {
        room[made] = scratch_new(GRID_MOST * GRID_MOST, sizeof **room);
        if (!room[made])
            break;
    }
    enum status status = room && made == threads
                             ? take_points(full, &s.even, job)
                             : job_fail_memory(job, GRID_MOST * GRID_MOST * sizeof **room);
    if (status == STATUS_OK)
        status = find(&s, out);
    scratch_free(s.even.at);
    while (made > 0)
        scratch_free(room[--made]);
    scratch_free(room);
    if (status != STATUS_OK)
        camera_release(out);
    return status;
}

/* --- what it misses -------------------------------------------------------------------------- */

/* Whether the camera saw something behind the place, or nothing at all there; `aside`: mm, asked
 * there across the picture. */
static bool saw_past(const struct aim *aim, double pixel, struct vec p, const double aside[2])
{
    struct sight at;
    int x, y;
    if (!see(aim, p, &at))
        return false;
    at.x += aside[0];
    at.y += aside[1];
    if (!pixel_of(aim, pixel, &at, &x, &y))
        return true;
    return at.depth > (double)aim->depth[y * aim->width + x] + 1.5 * pixel;
}

/* The same of a place that faces away: what hides it may be so steep that the camera saw nothing of
 * it, so nothing within `wide` mm may hide it. */
static bool saw_past_all_around(const struct aim *aim, double pixel, struct vec p, double wide)
{
    bool past = saw_past(aim, pixel, p, (const double[2]){0, 0});
    for (int i = 0; i < 16 && past; i++) {
        double turn = i * 0.78539816, far = i < 8 ? wide / 2 : wide;
        past = saw_past(aim, pixel, p, (const double[2]){far * cos(turn), far * sin(turn)});
    }
    return past;
}

static double misses_of(const struct aim *aim, double pixel, const struct surfels *other,
                        const struct rigid *pose, size_t samples)
{
    size_t count = surfels_count(other), step = count / samples + 1, asked = 0, missed = 0, all = 0;
    for (size_t i = 0; i < count; i += step) {
        struct vec p = rigid_apply(pose, surfels_at(other, i));
        double rise = rise_of(aim, p, rigid_direction(pose, surfels_normal(other, i)));
        all++;
        if (rise < facing && rise > turned_away)
            continue;
        asked++;
        missed += rise > 0 ? saw_past(aim, pixel, p, (const double[2]){0, 0})
                           : saw_past_all_around(aim, pixel, p, steep_wide * other->size);
    }
    double of = fmax((double)asked, few * (double)all); /* a few tell little */
    return of > 0 ? (double)missed / of : 0;
}

double camera_misses(const struct camera *camera, const struct surfels *other,
                     const struct rigid *pose, size_t samples)
{
    double least = INFINITY;
    for (int i = 0; i < camera->aims; i++)
        least = fmin(least, misses_of(&camera->aim[i], camera->pixel, other, pose, samples));
    return camera->aims ? least : 0;
}

/* --- what it looked through ------------------------------------------------------------------- */

/* Whether the camera saw something well behind the place. */
static bool saw_behind(const struct aim *aim, double pixel, struct vec p)
{
    struct sight at;
    int x, y;
    if (!see(aim, p, &at) || !pixel_of(aim, pixel, &at, &x, &y))
        return false;
    double depth = (double)aim->depth[y * aim->width + x];
    return isfinite(depth) && at.depth > depth + WELL_BEHIND * pixel;
}

double camera_through(const struct camera *camera, const struct surfels *other,
                      const struct rigid *pose, size_t samples)
{
    size_t count = surfels_count(other), step = count / samples + 1, asked = 0;
    size_t through[AIMS] = {0}, least = SIZE_MAX;
    for (size_t i = 0; i < count; i += step, asked++) {
        struct vec p = rigid_apply(pose, surfels_at(other, i));
        for (int k = 0; k < camera->aims; k++)
            through[k] += saw_behind(&camera->aim[k], camera->pixel, p);
    }
    for (int k = 0; k < camera->aims; k++)
        least = through[k] < least ? through[k] : least;
    return asked && camera->aims ? (double)least / (double)asked : 0;
}
