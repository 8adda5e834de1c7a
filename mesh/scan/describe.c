#include "scan/describe.h"

#include <string.h>

#include "core/job.h"
#include "core/lanes.h"
#include "scan/cells.h"

enum { BLOCK = 64, MISSING_MOST = LAND * 2 / 5, SEEN_LEAST = LAND / 2 };
static const double pi = 3.14159265358979323846;

struct gather { /* the land of one point while it is summed up */
    double sum[LAND], weight[LAND];
};

/* --- visiting what is near ------------------------------------------------------------------- */

struct near_points {
    const struct surfels *surfels;
    const struct cells *cells;
    struct vec at;
    double radius;
};

/* Calls visit for each surfel within the radius. */
static void each_near(const struct near_points *near,
                      void (*visit)(const struct surfels *, uint32_t, struct vec, void *),
                      void *context)
{
    struct point p = vec_point(near->at);
    for (int i = 0; i < 27; i++) {
        uint32_t c = cells_near(near->cells, p, i % 3 - 1, i / 3 % 3 - 1, i / 9 - 1);
        if (c == NO_INDEX)
            continue;
        for (uint32_t k = near->cells->start[c]; k < near->cells->start[c + 1]; k++) {
            uint32_t other = near->cells->item[k];
            struct vec d = vec_sub(surfels_at(near->surfels, other), near->at);
            if (vec_length2(d) <= near->radius * near->radius)
                visit(near->surfels, other, d, context);
        }
    }
}

struct lean { /* the mean normal around a point */
    struct vec own, sum;
    double radius2;
};

static void add_normal(const struct surfels *surfels, uint32_t i, struct vec d, void *context)
{
    struct lean *lean = context;
    struct vec n = surfels_normal(surfels, i);
    if (vec_length2(d) < lean->radius2 && vec_dot(n, lean->own) > 0.2)
        lean->sum = vec_add(lean->sum, n);
}

/* --- heights --------------------------------------------------------------------------------- */

static const float sector_cos[SECTORS] = {
    1.f,  0.92387953f,  0.70710678f,  0.38268343f,  0.f, -0.38268343f, -0.70710678f, -0.92387953f,
    -1.f, -0.92387953f, -0.70710678f, -0.38268343f, 0.f, 0.38268343f,  0.70710678f,  0.92387953f};

/* Where a bin lies, beside the outermost ring's radius. */
static float bin_x(int ring, int sector)
{
    return (float)(ring + 1) / RINGS * sector_cos[sector];
}
static float bin_y(int ring, int sector)
{
    return (float)(ring + 1) / RINGS * sector_cos[(sector + 3 * SECTORS / 4) % SECTORS];
}

/* The angle of (x, y) in sectors, 0 to SECTORS; to a hundredth of a radian. */
static double sector_of(double x, double y)
{
    double ax = fabs(x), ay = fabs(y), z = ax > ay ? ay / ax : ax > 0 || ay > 0 ? ax / ay : 0;
    double angle = z * (0.9724 - 0.1919 * z * z);
    angle = ax > ay ? angle : pi / 2 - angle;
    angle = x < 0 ? pi - angle : angle;
    angle = y < 0 ? 2 * pi - angle : angle;
    return angle * (SECTORS / (2 * pi));
}

struct survey {
    const struct frame *frame;
    double step; /* between rings */
    struct gather *gather;
};

/* Adds a point's height to the four bins around it, carried there along its own tangent plane. */
static void add_height(const struct surfels *surfels, uint32_t i, struct vec d, void *context)
{
    struct survey *s = context;
    const struct vec *axis = s->frame->axis;
    struct vec normal = surfels_normal(surfels, i);
    double rise = vec_dot(normal, axis[2]);
    if (rise < 0.15)
        return;
    double x = vec_dot(d, axis[0]), y = vec_dot(d, axis[1]), height = vec_dot(d, axis[2]);
    double ring = sqrt(x * x + y * y) / s->step - 1, sector = sector_of(x, y);
    if (!(ring > -1 && ring < RINGS))
        return;
    double slope_x = -vec_dot(normal, axis[0]) / rise, slope_y = -vec_dot(normal, axis[1]) / rise;
    int r = (int)floor(ring), c = (int)sector;
    double fr = ring - r, fc = sector - c, radius = RINGS * s->step;
    for (int k = 0; k < 4; k++) {
        int rr = r + k / 2, cc = (c + k % 2) % SECTORS;
        double w = (k / 2 ? fr : 1 - fr) * (k % 2 ? fc : 1 - fc);
        if (rr < 0 || rr >= RINGS)
            continue;
        double to_x = radius * (double)bin_x(rr, cc) - x, to_y = radius * (double)bin_y(rr, cc) - y;
        s->gather->sum[rr * SECTORS + cc] += w * (height + slope_x * to_x + slope_y * to_y);
        s->gather->weight[rr * SECTORS + cc] += w;
    }
}

/* Means of the bins; empty ones continue the ring within. False when too many are. */
static bool set_heights(const struct gather *gather, struct land *land)
{
    int missing = 0;
    for (int i = 0; i < LAND; i++) {
        int ring = i / SECTORS;
        if (gather->weight[i] > 0.15) {
            land->height[i] = (float)(gather->sum[i] / gather->weight[i]);
            land->weight[i] = 1;
            continue;
        }
        double wider = (double)(ring + 1) / ring;
        missing++;
        if (ring == 0)
            return false;
        land->height[i] = (float)(wider * wider) * land->height[i - SECTORS];
    }
    land->whole = missing == 0;
    return missing <= MISSING_MOST;
}

/* The heights less the best plane, all bins counted alike (which makes the sums simple). */
static void level(const struct land *land, double out[LAND])
{
    double z = 0, a = 0, b = 0, xx = 0;
    for (int i = 0; i < LAND; i++) {
        double h = (double)land->height[i], x = (double)bin_x(i / SECTORS, i % SECTORS);
        z += h / LAND;
        a += h * x;
        b += h * (double)bin_y(i / SECTORS, i % SECTORS);
        xx += x * x;
    }
    for (int i = 0; i < LAND; i++)
        out[i] = (double)land->height[i] - z - a / xx * (double)bin_x(i / SECTORS, i % SECTORS) -
                 b / xx * (double)bin_y(i / SECTORS, i % SECTORS);
}

static void set_traits(struct land *land)
{
    double flat[LAND];
    level(land, flat);
    for (int ring = 0; ring < RINGS; ring++) {
        const double *h = flat + ring * SECTORS;
        for (int wave = 0; wave < 4; wave++) {
            double re = 0, im = 0;
            for (int i = 0; i < SECTORS; i++) { /* cos and sin of whole sectors */
                re += h[i] * (double)sector_cos[wave * i % SECTORS];
                im += h[i] * (double)sector_cos[(wave * i + 3 * SECTORS / 4) % SECTORS];
            }
            double scale = sqrt((wave ? 2.0 : 1.0) / SECTORS / LAND);
            land->trait[4 * ring + wave] = (float)(scale * (wave ? sqrt(re * re + im * im) : re));
        }
    }
}

static void describe(const struct surfels *surfels, const struct cells *cells, double radius,
                     uint32_t i, struct land *land)
{
    struct vec at = surfels_at(surfels, i);
    double step = radius / RINGS, wide = radius + step;
    struct near_points near = {surfels, cells, at, wide};
    struct lean lean = {surfels_normal(surfels, i), vec(0, 0, 0), 0.16 * radius * radius};
    struct gather gather = {{0}, {0}};
    struct survey survey = {&land->frame, step, &gather};
    *land = (struct land){.point = i, .frame.at = at};
    each_near(&near, add_normal, &lean);
    land->frame.axis[2] = vec_unit(lean.sum);
    if (vec_dot(land->frame.axis[2], lean.own) < 0.4)
        return; /* a spike, or a crease */
    vec_frame(land->frame.axis[2], &land->frame.axis[0], &land->frame.axis[1]);
    each_near(&near, add_height, &survey);
    land->known = set_heights(&gather, land);
    if (land->known)
        set_traits(land);
}

enum status lands_make(const struct surfels *surfels, double radius, struct lands *out,
                       struct job *job)
{
    struct cells cells;
    size_t count = surfels_count(surfels);
    *out = (struct lands){scratch_new(count, sizeof *out->land), count, radius};
    if (!out->land)
        return job_fail_memory(job, count * sizeof *out->land);
    enum status status =
        cells_make(mesh_point(surfels->cloud), count, radius * (RINGS + 1) / RINGS, &cells, job);
    if (status != STATUS_OK) {
        lands_release(out);
        return status;
    }
#pragma omp parallel for num_threads(job_threads(job)) schedule(dynamic)
    for (size_t from = 0; from < count; from += BLOCK)
        for (size_t i = from; i < from + BLOCK && i < count && !job_cancelled(job); i++)
            describe(surfels, &cells, radius, (uint32_t)i, &out->land[i]);
    cells_release(&cells);
    if (!job_cancelled(job))
        return STATUS_OK;
    lands_release(out);
    return job_fail_cancelled(job);
}

static struct land moved(const struct land *land, const struct rigid *pose)
{
    struct land out = *land;
    out.frame.at = rigid_apply(pose, land->frame.at);
    for (int k = 0; k < 3; k++)
        out.frame.axis[k] = rigid_direction(pose, land->frame.axis[k]);
    return out;
}

enum status lands_merge(const struct lands *const *part, const struct rigid *pose, size_t count,
                        size_t most, struct lands *out, struct job *job)
{
    size_t known = 0, seen = 0;
    for (size_t i = 0; i < count; i++)
        for (size_t k = 0; k < part[i]->count; k++)
            known += part[i]->land[k].known;
    most = known < most ? known : most;
    *out = (struct lands){scratch_new(most, sizeof *out->land), 0, count ? part[0]->radius : 0};
    if (!out->land)
        return job_fail_memory(job, most * sizeof *out->land);
    for (size_t i = 0; i < count; i++)
        for (size_t k = 0; k < part[i]->count; k++)
            if (part[i]->land[k].known && seen++ * most / known == out->count &&
                out->count < most) {
                out->land[out->count++] = moved(&part[i]->land[k], &pose[i]);
                if (out->count % (8 * BLOCK) == 0 && job_cancelled(job))
                    return job_fail_cancelled(job);
            }
    return STATUS_OK;
}

void lands_release(struct lands *lands)
{
    scratch_free(lands->land);
    *lands = (struct lands){0};
}

/* --- comparing ------------------------------------------------------------------------------- */

/* Sums over the bins that both have seen. */
struct tally {
    double seen, x, y, xx, xy, yy;
    double d, dx, dy, dd; /* of differences of height */
};

struct plane { /* d = z + a x + b y */
    double z, a, b;
};

/* What is left of the squares beside the best plane. */
static double left_over(const struct tally *t, struct plane *plane)
{
    double n = t->seen, mx = t->x / n, my = t->y / n, md = t->d / n;
    double xx = t->xx - n * mx * mx, xy = t->xy - n * mx * my, yy = t->yy - n * my * my;
    double dx = t->dx - n * md * mx, dy = t->dy - n * md * my, dd = t->dd - n * md * md;
    double det = xx * yy - xy * xy;
    if (!(det > 1e-3 * xx * yy)) {
        *plane = (struct plane){md, 0, 0};
        return fmax(0, dd) / n;
    }
    plane->a = (dx * yy - dy * xy) / det;
    plane->b = (dy * xx - dx * xy) / det;
    plane->z = md - plane->a * mx - plane->b * my;
    return fmax(0, dd - plane->a * dx - plane->b * dy) / n;
}

static double lanes_sum(lanes a)
{
    return (double)((a[0] + a[1]) + (a[2] + a[3]));
}

static lanes lanes_load(const float *from)
{
    lanes a;
    memcpy(&a, from, sizeof a);
    return a;
}

struct twice { /* rings written out twice, so that turning is but an offset */
    float height[RINGS][2 * SECTORS], weight[RINGS][2 * SECTORS];
    float x[RINGS][SECTORS], y[RINGS][SECTORS];
};

static void write_twice(const struct land *land, struct twice *out)
{
    for (int ring = 0; ring < RINGS; ring++)
        for (int i = 0; i < 2 * SECTORS; i++) {
            out->height[ring][i] = land->height[ring * SECTORS + i % SECTORS];
            out->weight[ring][i] = land->weight[ring * SECTORS + i % SECTORS];
            out->x[ring][i % SECTORS] = bin_x(ring, i % SECTORS);
            out->y[ring][i % SECTORS] = bin_y(ring, i % SECTORS);
        }
}

/* The tally of a against b turned by `by` sectors. */
static struct tally tally_of(const struct land *a, const struct twice *b, int by)
{
    lanes seen = lanes_all(0), x = seen, y = seen, xx = seen, xy = seen, yy = seen;
    lanes d = seen, dx = seen, dy = seen, dd = seen;
    for (int ring = 0; ring < RINGS; ring++)
        for (int i = 0; i < SECTORS; i += 4) {
            int k = ring * SECTORS + i;
            lanes both = lanes_load(a->weight + k) * lanes_load(b->weight[ring] + i + by);
            lanes off = lanes_load(a->height + k) - lanes_load(b->height[ring] + i + by);
            lanes px = lanes_load(b->x[ring] + i), py = lanes_load(b->y[ring] + i);
            lanes wd = both * off, wx = both * px, wy = both * py;
            seen += both;
            d += wd;
            dd += wd * off;
            dx += wd * px;
            dy += wd * py;
            x += wx;
            y += wy;
            xx += wx * px;
            xy += wx * py;
            yy += wy * py;
        }
    return (struct tally){lanes_sum(seen), lanes_sum(x),  lanes_sum(y), lanes_sum(xx),
                          lanes_sum(xy),   lanes_sum(yy), lanes_sum(d), lanes_sum(dx),
                          lanes_sum(dy),   lanes_sum(dd)};
}

/* The motion that puts a onto b turned by `turn`, and takes the plane between them off. */
static struct rigid motion_onto(const struct land *a, const struct land *b, double radius,
                                double turn, const struct plane *plane)
{
    const struct vec *axis = b->frame.axis;
    double c = cos(turn), s = sin(turn);
    struct frame to = b->frame;
    to.axis[0] = vec_along(vec_scale(axis[0], c), s, axis[1]);
    to.axis[1] = vec_along(vec_scale(axis[1], c), -s, axis[0]);
    struct rigid motion = rigid_between(&a->frame, &to), level = rigid_rest();
    struct vec lean =
        vec_along(vec_scale(to.axis[0], -plane->b / radius), plane->a / radius, to.axis[1]);
    level = rigid_turn(lean);
    level.shift = vec_sub(to.at, rigid_apply(&level, to.at));
    level.shift = vec_along(level.shift, -plane->z, to.axis[2]);
    return rigid_then(&motion, &level);
}

void lands_compare(const struct land *a, const struct land *b, double radius, struct likeness *out)
{
    double value[SECTORS];
    struct plane plane[SECTORS];
    struct twice twice;
    int best = 0;
    write_twice(b, &twice);
    for (int by = 0; by < SECTORS; by++) {
        struct tally tally = tally_of(a, &twice, by);
        value[by] = tally.seen < SEEN_LEAST ? (double)INFINITY : left_over(&tally, &plane[by]);
        best = value[by] < value[best] ? by : best;
    }
    out->off2 = value[best];
    if (!isfinite(value[best]))
        return;
    double left = value[(best + SECTORS - 1) % SECTORS], right = value[(best + 1) % SECTORS];
    double bend = left - 2 * value[best] + right;
    double off = bend > 0 && isfinite(bend) ? (left - right) / (2 * bend) : 0;
    if (isfinite(bend))
        out->off2 = fmax(0, value[best] - 0.25 * (left - right) * off);
    out->motion = motion_onto(a, b, radius, 2 * pi / SECTORS * (best + off), &plane[best]);
}
