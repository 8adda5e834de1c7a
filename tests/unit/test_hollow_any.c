/* Hollow solids of any shape, with any wall and any drains, looked at by others than those who made
 * them: the inside never crosses the outside, the wall is as thick as asked everywhere but where a
 * drain goes through, nothing stands outside, and what stays inside after draining is what a flood
 * of columns says. */
#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "core/job.h"
#include "core/topology.h"
#include "core/tree.h"
#include "solid/drain.h"
#include "solid/hollow.h"
#include "solid/place.h"
#include "tests/support/carved.h"
#include "tests/support/shapes.h"
#include "tests/support/sound.h"
#include "tests/support/turned.h"

enum { PLACES = 20000, ROWS = 96, ROOMS = 32 };

/* --- any solid ------------------------------------------------------------------------------- */

/* A vessel of random radii: necks, shoulders, feet. */
static struct mesh *any_vessel(uint64_t *seed)
{
    double outline[16][2];
    uint32_t count = 0;
    for (double z = 0; count < 14; count++) {
        outline[count][0] = count == 0 ? 0 : 6 + 18 * shape_random(seed);
        outline[count][1] = z;
        z += count == 0 ? 0 : 2 + 8 * shape_random(seed);
    }
    outline[count][0] = 0;
    outline[count][1] = outline[count - 1][1];
    count++;
    return turned((const double(*)[2])outline, count, 40, 0);
}

static struct mesh *any_solid(uint64_t *seed, int kind)
{
    switch (kind % 4) {
    case 0:
        return any_vessel(seed);
    case 1:
        return carved_block((uint64_t)(1000 * shape_random(seed)));
    case 2:
        return shape_rough(shape_sphere(15 + 15 * shape_random(seed), 4), 0.4f);
    default:
        return shape_torus(20 + 10 * shape_random(seed), 6 + 5 * shape_random(seed), 90, 36);
    }
}

/* Standing as it was made, or in any other way. */
static struct mesh *posed(struct mesh *mesh, uint64_t *seed, bool turn)
{
    struct vec axis =
        vec_unit(vec(shape_random(seed) - 0.5, shape_random(seed) - 0.5, shape_random(seed) - 0.5));
    struct motion motion = motion_turn(axis, turn ? 6 * shape_random(seed) : 0, vec(1, 2, 3));
    struct mesh *out = motion_mesh(&motion, mesh, NULL);
    mesh_free(mesh);
    return out;
}

/* --- where a place lies ---------------------------------------------------------------------- */

/* Negative inside, mm. */
static double depth_at(const struct tree *tree, struct vec at)
{
    struct nearest near = tree_nearest(tree, at, INFINITY);
    struct vec away = vec_sub(at, near.point);
    return vec_dot(away, tree_normal(tree, &near)) < 0 ? -near.distance : near.distance;
}

static bool is_in_drain(const struct hollow_report *report, struct vec at)
{
    for (size_t i = 0; i < report->holes; i++) {
        const struct hollow_hole *h = &report->hole[i];
        struct vec from = vec_sub(at, h->at);
        double along = vec_dot(from, h->along);
        struct vec off = vec_along(from, -along, h->along);
        if (vec_length(off) < h->width / 2 + 0.1 && fabs(along) < h->depth + h->width)
            return true;
    }
    return false;
}

static struct vec anywhere(const struct bounds *box, uint64_t *seed)
{
    struct vec at;
    for (int k = 0; k < 3; k++)
        (&at.x)[k] =
            (&box->min.x)[k] - 1 + ((&box->max.x)[k] - (&box->min.x)[k] + 2) * shape_random(seed);
    return at;
}

/* Material is in the wall and nowhere outside; deeper than the wall is thick at the most there is
 * none, but where cavities stay solid. */
static void expect_wall(const struct mesh *mesh, const struct mesh *out, double wall,
                        const struct hollow_report *report, uint64_t *seed)
{
    const struct tree *old = mesh_tree(mesh, NULL), *now = mesh_tree(out, NULL);
    const struct bounds *box = mesh_bounds(mesh, NULL);
    double most = report->offset.bound + report->offset.cell * sqrt(3) / 2; /* offset.h: what has no
                                                                              node in it */
    bool all = report->small + report->tight + report->loose == 0;
    for (int i = 0; i < PLACES; i++) {
        struct vec at = anywhere(box, seed);
        double depth = -depth_at(old, mesh_local(mesh, at));
        bool full = depth_at(now, mesh_local(out, at)) < 0;
        if (depth < -1e-4)
            ck_assert_msg(!full, "material outside, %g mm", -depth);
        if (is_in_drain(report, at))
            continue;
        if (depth > 1e-4 && depth < offset_nearest(wall) - 1e-4)
            ck_assert_msg(full, "no wall at a depth of %g of %g mm", depth, wall);
        if (depth > most + 1e-4 && all)
            ck_assert_msg(!full, "solid at a depth of %g mm, told %g", depth, most);
    }
}

/* --- the flood ------------------------------------------------------------------------------- */

struct column { /* its free rooms, from below */
    int rooms;
    double low[ROOMS], high[ROOMS], level[ROOMS];
};

struct basin {
    struct column *column; /* ROWS x ROWS, and one beyond on every side */
    struct vec min;
    double step, low, high;
};

static struct column *column_at(const struct basin *b, int i, int j)
{
    return &b->column[(i + 1) * (ROWS + 2) + j + 1];
}

/* The rooms between where the column's line leaves the solid and enters it again. */
static void fill_column(const struct basin *b, const struct tree *tree, int i, int j)
{
    struct column *c = column_at(b, i, j);
    struct vec from = vec(b->min.x + (i + 0.5) * b->step, b->min.y + (j + 0.5) * b->step, b->low);
    double from_z = b->low;
    *c = (struct column){0};
    struct hit hit = tree_ray(tree, from, vec(0, 0, 1), 0, INFINITY);
    bool in = false;
    for (; hit.triangle != NO_INDEX; hit = tree_ray(tree, from, vec(0, 0, 1), hit.t, INFINITY)) {
        double z = b->low + hit.t;
        if (!in) {
            ck_assert_int_lt(c->rooms, ROOMS - 1);
            c->low[c->rooms] = from_z;
            c->high[c->rooms++] = z;
        }
        in = !in;
        from_z = z;
    }
    c->low[c->rooms] = from_z;
    c->high[c->rooms++] = b->high;
    for (int r = 0; r < c->rooms; r++)
        c->level[r] = INFINITY;
}

/* Lowers a room's level to what it takes to flow to the next column; whether that changed it. */
static bool flow(struct column *c, const struct column *other)
{
    bool changed = false;
    for (int r = 0; r < c->rooms; r++)
        for (int s = 0; s < other->rooms; s++) {
            double pass = fmax(c->low[r], other->low[s]);
            if (pass >= fmin(c->high[r], other->high[s]))
                continue;
            double level = fmax(pass, other->level[s]);
            if (level < c->level[r]) {
                c->level[r] = level;
                changed = true;
            }
        }
    return changed;
}

/* Until nothing changes, over and fro. */
static void settle(const struct basin *b)
{
    static const int way[4][2] = {{1, 0}, {-1, 0}, {0, 1}, {0, -1}};
    bool changed = true;
    for (int pass = 0; changed; pass++) {
        changed = false;
        for (int n = 0; n < ROWS * ROWS; n++) {
            int m = pass % 2 ? ROWS * ROWS - 1 - n : n;
            for (int k = 0; k < 4; k++)
                changed |= flow(column_at(b, m / ROWS, m % ROWS),
                                column_at(b, m / ROWS + way[k][0], m % ROWS + way[k][1]));
        }
    }
}

/* What stays in the rooms of the body, mm3; *room gets the volume of those not seen from above or
 * below, which is the cavities'. */
static double flooded(const struct mesh *out, double *room)
{
    const struct bounds *box = mesh_bounds(out, NULL);
    const struct tree *tree = mesh_tree(out, NULL);
    struct basin b = {.column = calloc((ROWS + 2) * (ROWS + 2), sizeof *b.column)};
    struct vec min = mesh_local(out, box->min), max = mesh_local(out, box->max);
    b.step = fmax(max.x - min.x, max.y - min.y) * (1 + 1e-3) / ROWS;
    b.min = vec_sub(min, vec(1e-4 * b.step, 2e-4 * b.step, 0));
    b.low = min.z - 1;
    b.high = max.z + 1;
    for (int i = -1; i <= ROWS; i++)
        for (int j = -1; j <= ROWS; j++) {
            struct column *c = column_at(&b, i, j);
            if (i < 0 || j < 0 || i == ROWS || j == ROWS)
                *c = (struct column){1, {b.low}, {b.high}, {b.low}};
            else
                fill_column(&b, tree, i, j);
        }
    settle(&b);
    double sum = 0;
    *room = 0;
    for (int i = 0; i < ROWS; i++)
        for (int j = 0; j < ROWS; j++) {
            const struct column *c = column_at(&b, i, j);
            for (int r = 0; r < c->rooms; r++)
                sum += fmax(0, fmin(c->level[r], c->high[r]) - c->low[r]);
            for (int r = 1; r + 1 < c->rooms; r++)
                *room += c->high[r] - c->low[r];
        }
    free(b.column);
    *room *= b.step * b.step;
    return sum * b.step * b.step;
}

/* --- all ------------------------------------------------------------------------------------- */

/* Cavities that others than these drains lead out of hold what they held before. */
static void expect_drained(const struct mesh *mesh, const struct mesh *out,
                           const struct hollow_report *report, int number)
{
    double room, old_room, before = flooded(mesh, &old_room), stays = flooded(out, &room);
    double within = 0.02 * room + 1;
    if (report->holes == 0)
        return;
    ck_assert_msg(fabs(stays - before - report->trapped) < within,
                  "solid %d: %g mm3 stay, of %g that stood outside, told %g, of %g", number, stays,
                  before, report->trapped, room);
}

START_TEST(any_solid_any_wall)
{
    for (int i = 0; i < 4; i++) {
        uint64_t seed = 977 * (uint64_t)_i + 31 * (uint64_t)i + 5;
        for (int k = 0; k < 4; k++)
            shape_random(&seed);
        struct mesh *mesh = posed(any_solid(&seed, i), &seed, _i % 2), *out = NULL;
        struct hollow_options options = {.wall = 0.6 + 2.4 * shape_random(&seed),
                                         .drain = i == 3 ? 0 : 2 + 3 * shape_random(&seed),
                                         .spacing = 1.5};
        struct hollow_report report;
        struct job job;
        job_init(&job);
        enum status status = hollow_mesh(mesh, &options, &out, &report, &job);
        ck_assert_msg(status == STATUS_OK || strstr(job.message, "leaves no"), "solid %d: %s", i,
                      job.message);
        if (status == STATUS_OK) {
            const char *fault = sound_fault(out);
            ck_assert_msg(!fault, "solid %d: %s", i, fault);
            ck_assert_uint_eq(sound_crossings(out), 0);
            expect_wall(mesh, out, options.wall, &report, &seed);
            expect_drained(mesh, out, &report, i);
        }
        mesh_free(out);
        mesh_free(mesh);
        job_release(&job);
    }
}
END_TEST

Suite *suite_hollow_any(void);
Suite *suite_hollow_any(void)
{
    Suite *suite = suite_create("hollow_any");
    TCase *all = tcase_create("all");
    tcase_set_timeout(all, 300);
    tcase_add_loop_test(all, any_solid_any_wall, 0, getenv("FETTLE_LONG") ? 12 : 2);
    suite_add_tcase(suite, all);
    return suite;
}
