/* How a body hangs: blocks whose centre of mass is known, turned any way; and that where it comes
 * to rest its centre of mass is as low as it can be. */
#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "core/job.h"
#include "op/op.h"
#include "op/sketch.h"
#include "solid/hang.h"
#include "solid/place.h"
#include "tests/support/shapes.h"
#include "tests/support/steps.h"

static const double pi = 3.14159265358979323846;

/* A block 100 x 20 x 60 whose back is y = 0; hooks on that, slots up. */
static struct hook hook_at(double x, double z)
{
    return (struct hook){vec(x, 0, z), vec(0, 1, 0), vec(0, 0, 1), 0.5};
}

static struct hang hang_of(const struct mesh *mesh, const struct hook *hook, size_t hooks)
{
    struct mass mass;
    struct hang hang;
    ck_assert_int_eq(mass_find(&mesh, 1, &mass, NULL), STATUS_OK);
    ck_assert_int_eq(hang_find(&mesh, 1, &mass, hook, hooks, &hang, NULL), STATUS_OK);
    return hang;
}

/* Seen from before the wall, so against y, right is -x. */
START_TEST(by_one)
{
    struct mesh *mesh = shape_box(100, 20, 60, 3);
    struct hook hook = hook_at(40, 50);
    struct hang h = hang_of(mesh, &hook, 1);
    ck_assert_int_eq(h.screws, 1);
    ck_assert(h.holds);
    ck_assert_double_eq_tol(h.across, -10, 1e-6);
    ck_assert_double_eq_tol(h.below, 20.25,
                            1e-6); /* the shank is at the slot's top: half its play */
    ck_assert_double_eq_tol(h.tilt, -atan2(10, 20.25) * 180 / pi, 1e-6);
    ck_assert_double_eq_tol(h.arm, 10, 1e-6);
    ck_assert_double_eq_tol(h.proud, 0, 1e-6);
    hook = hook_at(50, 20);
    ck_assert(!hang_of(mesh, &hook, 1).holds); /* below its centre of mass */
    hook = hook_at(50, 50);
    h = hang_of(mesh, &hook, 1);
    ck_assert_double_eq_tol(h.tilt, 0, 1e-9);
    ck_assert_double_eq_tol(h.rest, 50.25, 1e-6);
    ck_assert_double_eq_tol(h.width, 100, 1e-6);
    ck_assert_double_eq_tol(h.low[1], -50.25, 1e-6);
    mesh_free(mesh);
}
END_TEST

START_TEST(by_two)
{
    struct mesh *mesh = shape_box(100, 20, 60, 3);
    struct hook hook[] = {hook_at(30, 50), hook_at(90, 50)};
    struct hang h = hang_of(mesh, hook, 2);
    ck_assert(h.holds);
    ck_assert_double_eq_tol(h.tilt, 0, 1e-9);
    ck_assert_double_eq_tol(h.screw[0].x, 90, 1e-9); /* the left one */
    ck_assert_double_eq_tol(h.share, 40.0 / 60, 1e-6);
    ck_assert_double_eq_tol(hang_tilt_per_mm(&h), asin(1.0 / 60) * 180 / pi, 1e-9);
    hook[0] = hook_at(30, 44); /* the right one 6 lower in the body: that side comes up */
    h = hang_of(mesh, hook, 2);
    ck_assert_double_eq_tol(h.tilt, -atan2(6, 60) * 180 / pi, 1e-6);
    hook[0] = hook_at(60, 50);
    ck_assert(!hang_of(mesh, hook, 2).holds); /* the centre of mass is not between them */
    struct hook three[] = {hook_at(30, 50), hook_at(50, 50), hook_at(90, 50)};
    ck_assert_double_eq_tol(hang_of(mesh, three, 3).share, 40.0 / 60, 1e-6);
    struct hook above[] = {hook_at(50, 20), hook_at(50, 50)};
    struct mass mass;
    struct job job;
    job_init(&job);
    const struct mesh *one = mesh;
    ck_assert_int_eq(mass_find(&one, 1, &mass, NULL), STATUS_OK);
    ck_assert_int_eq(hang_find(&one, 1, &mass, above, 2, &h, &job), STATUS_REFUSED);
    ck_assert_ptr_nonnull(strstr(job.message, "one above the other"));
    job_release(&job);
    mesh_free(mesh);
}
END_TEST

/* A knob on the back keeps it from the wall. */
START_TEST(what_stands_out_behind)
{
    struct mesh *block = shape_box(100, 20, 60, 3), *knob = shape_box(4, 2, 4, 1);
    const struct mesh *const both[2] = {block, knob};
    const double move[2][3] = {{0, 0, 0}, {48, -2, 10}};
    struct mesh *mesh = shape_join(both, move, 2);
    struct hook hook = hook_at(50, 50);
    struct hang h = hang_of(mesh, &hook, 1);
    ck_assert_double_eq_tol(h.proud, 2, 1e-6);
    ck_assert_double_eq_tol(h.rest, 50.25 - 10, 1e-6);
    double block_mass = 120000, knob_mass = 32;
    ck_assert_double_eq_tol(h.arm, 2 + (10 * block_mass - 1 * knob_mass) / (block_mass + knob_mass),
                            1e-6);
    mesh_free(mesh);
    mesh_free(block);
    mesh_free(knob);
}
END_TEST

/* Screwed on through two places nothing swings, wherever the centre of mass is. */
START_TEST(screwed_on)
{
    struct mesh *mesh = shape_box(100, 20, 60, 3);
    const struct mesh *one = mesh;
    const struct vec place[] = {vec(20, 0, 10), vec(30, 0, 12), vec(40, 0, 50)};
    struct mass mass;
    struct hang h;
    struct job job;
    job_init(&job);
    ck_assert_int_eq(mass_find(&one, 1, &mass, NULL), STATUS_OK);
    ck_assert_int_eq(hang_fix(&one, 1, &mass, place, 3, vec(0, 1, 0), vec(0, 0.3, 1), &h, NULL),
                     STATUS_OK);
    ck_assert_int_eq(h.screws, 2);
    ck_assert_double_eq_tol(h.screw[0].x, 40, 1e-9); /* seen against y, right is -x */
    ck_assert_double_eq_tol(h.screw[1].x, 20, 1e-9);
    ck_assert_double_eq_tol(h.up.z, 1, 1e-9);
    ck_assert_double_eq_tol(h.tilt, 0, 1e-9);
    ck_assert(h.holds);
    ck_assert_double_eq_tol(h.across, -20, 1e-5); /* x 50, from the middle at x 30, z 30 */
    ck_assert_double_eq_tol(h.below, 0, 1e-5);
    ck_assert_double_eq_tol(h.arm, 10, 1e-5);
    ck_assert_double_eq_tol(h.low[0], -70, 1e-5);
    ck_assert_double_eq_tol(h.high[1], 30, 1e-5);
    ck_assert_int_eq(hang_fix(&one, 1, &mass, place, 1, vec(0, 1, 0), vec(0, 9, 0), &h, &job),
                     STATUS_REFUSED);
    ck_assert_ptr_nonnull(strstr(job.message, "which way is up"));
    job_release(&job);
    mesh_free(mesh);
}
END_TEST

/* Turned and shifted any way, all that is told stays; and the tilt is where the centre of mass is
 * lowest, tried by turning it. */
START_TEST(whichever_way_it_lies)
{
    struct mesh *mesh = shape_box(100, 20, 60, 3);
    uint64_t seed = 11;
    for (int i = 0; i < 50; i++) {
        struct vec axis = vec_unit(
            vec(shape_random(&seed) - 0.5, shape_random(&seed) - 0.5, shape_random(&seed) - 0.5));
        struct motion turn = motion_turn(axis, 6 * shape_random(&seed), vec(7, 8, 9));
        struct mesh *turned = motion_mesh(&turn, mesh, NULL);
        struct hook hook = hook_at(20 + 60 * shape_random(&seed), 40 + 15 * shape_random(&seed));
        struct hook other = hook;
        struct hang h = hang_of(mesh, &hook, 1);
        other.at = motion_apply(&turn, hook.at);
        other.along = motion_direction(&turn, hook.along);
        other.up = motion_direction(&turn, hook.up);
        struct hang t = hang_of(turned, &other, 1);
        ck_assert_double_eq_tol(t.tilt, h.tilt, 1e-3);
        ck_assert_double_eq_tol(t.arm, h.arm, 1e-3);
        ck_assert_double_eq_tol(t.rest, h.rest, 0.02);
        struct vec hangs = vec_sub(vec(50, 10, 30), h.screw[0]);
        double lowest = vec_dot(hangs, h.up);
        for (int k = 0; k < 36; k++) {
            double turned_by = 2 * pi * k / 36;
            struct vec up =
                vec_add(vec_scale(h.up, cos(turned_by)), vec_scale(h.side, sin(turned_by)));
            ck_assert(vec_dot(hangs, up) >= lowest - 1e-6);
        }
        mesh_free(turned);
    }
    mesh_free(mesh);
}
END_TEST

/* --- as one types it ------------------------------------------------------------------------- */

static struct scene *after(struct scene *scene, const char *line, struct job *job)
{
    struct scene *out = NULL;
    ck_assert_msg(steps_run(scene, line, &out, job) == STATUS_OK, "%s: %s", line, job->message);
    scene_free(scene);
    return out;
}

/* The pull is mass times 9.80665 m/s2 times the arm, of what the note says of both. */
START_TEST(balance_tells_it)
{
    struct scene *scene = scene_new();
    struct mesh *mesh = shape_box(100, 20, 60, 3);
    struct job job;
    mesh->joined = true;
    ck_assert_int_eq(scene_add(scene, piece_new(mesh, "part"), NULL), STATUS_OK);
    scene = after(scene, "balance bronze", &job);
    ck_assert_ptr_null(strstr(job.notes, "hung"));
    job_release(&job);
    scene = after(scene, "keyhole 50,0,40 spacing=60", &job);
    job_release(&job);
    scene = after(scene, "turn axis=1,2,3 by=77", &job);
    job_release(&job);
    scene = after(scene, "balance bronze", &job);
    ck_assert_ptr_nonnull(strstr(job.notes, "by its two keyholes, 60 mm apart, it hangs level"));
    ck_assert_ptr_nonnull(strstr(job.notes, "no load is rated"));
    double grams, arm, pull, share;
    ck_assert_int_eq(sscanf(job.notes, "%lf g", &grams), 1);
    const char *at = strstr(job.notes, "its centre of mass lies ");
    ck_assert_int_eq(sscanf(at, "its centre of mass lies %lf mm before", &arm), 1);
    at = strstr(job.notes, "pulls forward with ");
    ck_assert_int_eq(sscanf(at, "pulls forward with %lf N", &pull), 1);
    ck_assert_double_eq_tol(pull, grams * 9.80665e-3 * arm, 1e-3 * pull);
    ck_assert_double_eq_tol(arm, 10.09, 0.02); /* the keyholes' air moves it from the middle */
    at = strstr(job.notes, "% of its weight on the left");
    ck_assert_ptr_nonnull(at);
    ck_assert_int_eq(sscanf(at - 3, "%lf", &share), 1);
    ck_assert_double_eq_tol(share, 50, 0.5);
    job_release(&job);
    struct step step;
    struct sketch sketch;
    ck_assert_int_eq(step_parse("balance", &step, NULL), STATUS_OK);
    ck_assert_int_eq(step_sketch(&step, scene, &sketch, NULL), STATUS_OK);
    ck_assert_uint_eq(sketch.lines, 3);
    ck_assert_uint_eq(sketch.marks, 3);
    struct raster_line plumb = sketch.line[1], level = sketch.line[0];
    double turn =
        vec_dot(vec_unit(vec_sub(plumb.to, plumb.from)), vec_unit(vec_sub(level.to, level.from)));
    ck_assert_double_eq_tol(turn, 0, 1e-6);
    sketch_release(&sketch);
    step_release(&step);
    scene_free(scene);
}
END_TEST

Suite *suite_hang(void);
Suite *suite_hang(void)
{
    Suite *suite = suite_create("hang");
    TCase *all = tcase_create("all");
    tcase_set_timeout(all, 30);
    tcase_add_test(all, by_one);
    tcase_add_test(all, by_two);
    tcase_add_test(all, what_stands_out_behind);
    tcase_add_test(all, screwed_on);
    tcase_add_test(all, whichever_way_it_lies);
    tcase_add_test(all, balance_tells_it);
    suite_add_tcase(suite, all);
    return suite;
}
