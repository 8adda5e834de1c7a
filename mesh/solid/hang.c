#include "solid/hang.h"

#include <math.h>

#include "core/job.h"
#include "core/topology.h"
#include "solid/stand.h"

static const double degrees = 180 / 3.14159265358979323846;

static const double least_slope = 0.17; /* sine of 10 degrees: between up and out of the wall */

enum { LOOK = 4096 };

/* --- the two that bear ----------------------------------------------------------------------- */

/* Where the shank is when the slot's end rests on it. */
static struct vec shank_of(const struct hook *hook)
{
    return vec_along(hook->at, hook->play / 2, hook->up);
}

/* The two farthest apart of places that lie `stride` bytes one behind the other. */
static void choose(const struct vec *place, size_t stride, size_t count, size_t chosen[2])
{
    double most = -1;
    chosen[0] = chosen[1] = 0;
    for (size_t i = 0; i < count; i++)
        for (size_t k = i + 1; k < count; k++) {
            const struct vec *a = (const void *)((const char *)place + i * stride);
            const struct vec *b = (const void *)((const char *)place + k * stride);
            double apart = vec_length(vec_sub(*a, *b));
            if (apart > most) {
                most = apart;
                chosen[0] = i, chosen[1] = k;
            }
        }
}

/* --- which way is up ------------------------------------------------------------------------ */

static void set_frame(struct hang *h, struct vec out, struct vec up)
{
    h->out = vec_unit(out);
    h->up = vec_unit(vec_along(up, -vec_dot(up, h->out), h->out));
    h->side = vec_cross(h->up, h->out);
}

static struct vec middle(const struct hang *h)
{
    return vec_scale(vec_add(h->screw[0], h->screw[h->screws - 1]), 0.5);
}

/* Turns upright by an angle towards the right. */
static void swing(struct hang *h, double angle)
{
    struct vec up = vec_add(vec_scale(h->up, cos(angle)), vec_scale(h->side, -sin(angle)));
    set_frame(h, h->out, up);
    h->tilt = angle * degrees;
}

static void hang_on_one(struct hang *h)
{
    h->holds = h->below > 0;
    h->share = 1;
    if (h->holds)
        swing(h, atan2(h->across, h->below));
}

static void put_left_first(struct hang *h)
{
    struct vec first = h->screw[0];
    if (vec_dot(vec_sub(h->screw[1], first), h->side) >= 0)
        return;
    h->screw[0] = h->screw[1];
    h->screw[1] = first;
}

static void hang_on_two(struct hang *h, struct vec centre)
{
    put_left_first(h);
    struct vec between = vec_sub(h->screw[1], h->screw[0]);
    double right = vec_dot(between, h->side);
    swing(h, atan2(vec_dot(between, h->up), right));
    double apart = vec_dot(between, h->side);
    h->share = vec_dot(vec_sub(centre, h->screw[0]), h->side) / apart;
    h->holds = h->share >= 0 && h->share <= 1;
}

/* --- what touches the wall ------------------------------------------------------------------ */

struct reach {
    double back, low[2], high[2]; /* farthest behind; of the box on the wall */
};

static enum status find_reach(const struct mesh *const *mesh, size_t count, const struct hang *h,
                              struct reach *r, struct job *job)
{
    *r = (struct reach){-INFINITY, {INFINITY, INFINITY}, {-INFINITY, -INFINITY}};
    struct vec from = middle(h);
    for (size_t i = 0; i < count; i++)
        for (size_t v = 0; v < mesh_vertices(mesh[i]); v++) {
            if (v % LOOK == 0 && job_cancelled(job))
                return job_fail_cancelled(job);
            struct vec p = mesh_world(mesh[i], point_vec(mesh_point(mesh[i])[v]));
            struct vec d = vec_sub(p, from);
            double at[2] = {vec_dot(d, h->side), vec_dot(d, h->up)};
            r->back = fmax(r->back, -vec_dot(d, h->out));
            for (int k = 0; k < 2; k++) {
                r->low[k] = fmin(r->low[k], at[k]);
                r->high[k] = fmax(r->high[k], at[k]);
            }
        }
    return STATUS_OK;
}

/* How far below the screws something is as far back as what touches the wall. */
static enum status find_rest(const struct mesh *const *mesh, size_t count, double back,
                             double level, struct hang *h, struct job *job)
{
    struct vec from = middle(h);
    h->rest = 0;
    for (size_t i = 0; i < count; i++)
        for (size_t v = 0; v < mesh_vertices(mesh[i]); v++) {
            if (v % LOOK == 0 && job_cancelled(job))
                return job_fail_cancelled(job);
            struct vec p = mesh_world(mesh[i], point_vec(mesh_point(mesh[i])[v]));
            struct vec d = vec_sub(p, from);
            if (-vec_dot(d, h->out) >= back - level)
                h->rest = fmax(h->rest, -vec_dot(d, h->up));
        }
    return STATUS_OK;
}

static enum status touch_wall(const struct mesh *const *mesh, size_t count, struct vec centre,
                              struct hang *h, struct job *job)
{
    struct reach r;
    enum status status = find_reach(mesh, count, h, &r, job);
    if (status != STATUS_OK)
        return status;
    for (int k = 0; k < 2; k++) {
        h->low[k] = r.low[k];
        h->high[k] = r.high[k];
    }
    h->width = r.high[0] - r.low[0];
    h->height = r.high[1] - r.low[1];
    h->proud = fmax(r.back, 0);
    h->arm = h->proud + vec_dot(vec_sub(centre, middle(h)), h->out);
    return find_rest(mesh, count, h->proud, stand_level * hypot(h->width, h->height), h, job);
}

/* --- all of it ------------------------------------------------------------------------------- */

enum status hang_find(const struct mesh *const *mesh, size_t count, const struct mass *mass,
                      const struct hook *hook, size_t hooks, struct hang *out, struct job *job)
{
    size_t chosen[2];
    *out = (struct hang){.screws = hooks > 1 ? 2 : 1};
    choose(&hook->at, sizeof *hook, hooks, chosen);
    const struct hook *a = &hook[chosen[0]], *b = &hook[chosen[1]];
    out->screw[0] = shank_of(a);
    out->screw[1] = shank_of(b);
    set_frame(out, vec_add(a->along, b->along), vec_add(a->up, b->up));
    struct vec between = vec_sub(out->screw[1], out->screw[0]);
    if (out->screws > 1 && !(fabs(vec_dot(between, out->side)) > 1e-3 * vec_length(between)))
        return job_fail(
            job, STATUS_REFUSED,
            "its keyholes are one above the other, which leaves open how it hangs; fill "
            "one of them");
    struct vec centre = vec_sub(mass->centre, middle(out));
    out->across = vec_dot(centre, out->side);
    out->below = -vec_dot(centre, out->up);
    if (out->screws == 1)
        hang_on_one(out);
    else
        hang_on_two(out, mass->centre);
    return touch_wall(mesh, count, mass->centre, out, job);
}

enum status hang_fix(const struct mesh *const *mesh, size_t count, const struct mass *mass,
                     const struct vec *place, size_t places, struct vec out, struct vec up,
                     struct hang *hang, struct job *job)
{
    size_t chosen[2];
    *hang = (struct hang){.screws = places > 1 ? 2 : 1, .holds = true, .share = 1};
    choose(place, sizeof *place, places, chosen);
    hang->screw[0] = place[chosen[0]];
    hang->screw[1] = place[chosen[1]];
    if (!(vec_length(vec_cross(vec_unit(out), vec_unit(up))) > least_slope))
        return job_fail(job, STATUS_REFUSED,
                        "the wall's face looks the way that is to be up; say which way is up when "
                        "it is on the wall, such as up=y");
    set_frame(hang, out, up);
    put_left_first(hang);
    struct vec centre = vec_sub(mass->centre, middle(hang));
    hang->across = vec_dot(centre, hang->side);
    hang->below = -vec_dot(centre, hang->up);
    return touch_wall(mesh, count, mass->centre, hang, job);
}

double hang_tilt_per_mm(const struct hang *hang)
{
    double apart = vec_length(vec_sub(hang->screw[1], hang->screw[0]));
    return hang->screws > 1 ? asin(fmin(1, 1 / apart)) * degrees : 0;
}
