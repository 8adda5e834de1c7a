#include "scan/seen.h"

#include "core/job.h"

enum {
    PIXELS_MOST = 512, /* across the picture */
    SAMPLES = 3000,    /* surfels that a direction is judged by */
    DIRECTIONS = 91,   /* that are tried */
    AROUND = 2         /* pixels: so near to something seen counts as seen */
};
static const double facing = 0.643;         /* cosine of 50 degrees */
static const double few = 0.1;              /* share of the surfels */
static const double not_single_from = 0.04; /* share that is hidden or faces away */

void camera_release(struct camera *camera)
{
    scratch_free(camera->depth);
    *camera = (struct camera){0};
}

/* --- pictures -------------------------------------------------------------------------------- */

/* The pixel of a point; false: outside. */
static bool pixel_of(const struct camera *c, struct vec p, int *x, int *y)
{
    double fx = (vec_dot(p, c->right) - c->low[0]) / c->pixel;
    double fy = (vec_dot(p, c->up) - c->low[1]) / c->pixel;
    if (!(fx >= 0 && fy >= 0 && fx < c->width && fy < c->height))
        return false;
    *x = (int)fx;
    *y = (int)fy;
    return true;
}

/* Sets the picture's axes and size; its depth has room for PIXELS_MOST squared. */
static void aim(struct camera *c, const struct surfels *s, struct vec toward)
{
    double high[2] = {-INFINITY, -INFINITY};
    c->toward = toward;
    vec_frame(toward, &c->right, &c->up);
    c->low[0] = c->low[1] = INFINITY;
    for (size_t i = 0; i < surfels_count(s); i++) {
        double at[2] = {vec_dot(surfels_at(s, i), c->right), vec_dot(surfels_at(s, i), c->up)};
        for (int k = 0; k < 2; k++) {
            c->low[k] = fmin(c->low[k], at[k]);
            high[k] = fmax(high[k], at[k]);
        }
    }
    double across = fmax(high[0] - c->low[0], high[1] - c->low[1]);
    c->pixel = fmax(1.2 * s->spacing, 1.001 * across / (PIXELS_MOST - 1));
    c->width = (int)((high[0] - c->low[0]) / c->pixel) + 1;
    c->height = (int)((high[1] - c->low[1]) / c->pixel) + 1;
}

static void take_picture(struct camera *c, const struct surfels *s)
{
    for (int i = 0; i < c->width * c->height; i++)
        c->depth[i] = -INFINITY;
    for (size_t i = 0; i < surfels_count(s); i++) {
        int x, y;
        struct vec p = surfels_at(s, i);
        if (!pixel_of(c, p, &x, &y))
            continue;
        float *depth = &c->depth[y * c->width + x];
        *depth = fmaxf(*depth, (float)vec_dot(p, c->toward));
    }
}

/* The share of surfels that face away or lie well behind what is seen in their pixel. */
static double hidden_share(const struct camera *c, const struct surfels *s)
{
    size_t count = surfels_count(s), step = count / SAMPLES + 1, seen = 0, hidden = 0;
    for (size_t i = 0; i < count; i += step) {
        int x, y;
        struct vec p = surfels_at(s, i);
        seen++;
        double rise = vec_dot(surfels_normal(s, i), c->toward);
        if (rise < 0.08 || !pixel_of(c, p, &x, &y)) {
            hidden++;
            continue;
        }
        double behind = (double)c->depth[y * c->width + x] - vec_dot(p, c->toward);
        hidden += behind > 6 * c->pixel;
    }
    return (double)hidden / (double)(seen ? seen : 1);
}

/* --- finding --------------------------------------------------------------------------------- */

static struct vec mean_normal(const struct surfels *s)
{
    struct vec sum = vec(0, 0, 0);
    for (size_t i = 0; i < surfels_count(s); i++)
        sum = vec_add(sum, surfels_normal(s, i));
    return vec_unit(sum);
}

/* The i-th of directions spread over 45 degrees around one (on a sunflower's spiral). */
static struct vec direction(struct vec about, int i)
{
    struct vec u, v;
    vec_frame(about, &u, &v);
    double off = 0.785 * sqrt((double)i / (DIRECTIONS - 1)), turn = 2.399963 * i;
    struct vec aside = vec_along(vec_scale(u, cos(turn)), sin(turn), v);
    return vec_along(vec_scale(about, cos(off)), sin(off), aside);
}

enum status camera_find(const struct surfels *surfels, struct camera *out, struct job *job)
{
    double share[DIRECTIONS], least = INFINITY;
    struct vec about = mean_normal(surfels), sum = vec(0, 0, 0);
    *out = (struct camera){.depth = scratch_new(PIXELS_MOST * PIXELS_MOST, sizeof *out->depth)};
    if (!out->depth)
        return job_fail_memory(job, PIXELS_MOST * PIXELS_MOST * sizeof *out->depth);
    if (surfels_count(surfels) == 0 || vec_length2(about) == 0)
        return STATUS_OK;
    for (int i = 0; i < DIRECTIONS && !job_cancelled(job); i++) {
        aim(out, surfels, direction(about, i));
        take_picture(out, surfels);
        share[i] = hidden_share(out, surfels);
        least = fmin(least, share[i]);
    }
    if (job_cancelled(job)) {
        camera_release(out);
        return job_fail_cancelled(job);
    }
    for (int i = 0; i < DIRECTIONS; i++) /* the middle of those that are as good as the best */
        if (share[i] <= least + 0.004)
            sum = vec_add(sum, direction(about, i));
    aim(out, surfels, vec_unit(sum));
    take_picture(out, surfels);
    out->single = hidden_share(out, surfels) < not_single_from;
    return STATUS_OK;
}

/* --- what it misses -------------------------------------------------------------------------- */

/* The greatest depth seen around a point; -INFINITY: nothing is. */
static double nearest_seen(const struct camera *c, struct vec p)
{
    int x = (int)floor((vec_dot(p, c->right) - c->low[0]) / c->pixel);
    int y = (int)floor((vec_dot(p, c->up) - c->low[1]) / c->pixel);
    float most = -INFINITY;
    for (int j = y - AROUND; j <= y + AROUND; j++)
        for (int i = x - AROUND; i <= x + AROUND; i++)
            if (i >= 0 && j >= 0 && i < c->width && j < c->height)
                most = fmaxf(most, c->depth[j * c->width + i]);
    return (double)most;
}

double camera_misses(const struct camera *camera, const struct surfels *other,
                     const struct rigid *pose)
{
    size_t count = surfels_count(other), step = count / SAMPLES + 1, face = 0, missed = 0, all = 0;
    for (size_t i = 0; i < count; i += step) {
        struct vec n = rigid_direction(pose, surfels_normal(other, i));
        all++;
        if (vec_dot(n, camera->toward) < facing)
            continue;
        struct vec p = rigid_apply(pose, surfels_at(other, i));
        face++;
        missed += vec_dot(p, camera->toward) > nearest_seen(camera, p) + 4 * camera->pixel;
    }
    double of = fmax((double)face, few * (double)all); /* a few tell little */
    return of > 0 ? (double)missed / of : 0;
}
