/* Holes that "bore" and "keyhole" cut, saved as STL and found again in the surface alone: against
 * the tables and against what the session knew. */
#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>

#include "core/job.h"
#include "solid/screws.h"
#include "tests/support/round_holes.h"
#include "tests/support/shapes.h"
#include "tests/support/steps.h"

/* Any pose, 30 mm about, so that no axis lies along x, y or z. */
static struct scene *thrown(struct scene *scene, uint64_t *seed)
{
    char line[200];
    double v[7];
    for (int i = 0; i < 7; i++)
        v[i] = shape_random(seed) - 0.5;
    snprintf(line, sizeof line, "turn axis=%.3f,%.3f,%.3f by=%.2f", v[0], v[1], v[2], 360 * v[3]);
    scene = steps_after(scene, line);
    snprintf(line, sizeof line, "move %.3f,%.3f,%.3f", 60 * v[4], 60 * v[5], 60 * v[6]);
    return steps_after(scene, line);
}

/* How far the axis of what was found is from that of what was cut, where that is in its middle. */
static double off_axis(const struct screw_hole *hole, const struct mesh *mesh,
                       const struct fixing *cut)
{
    struct vec from =
        vec_sub(vec_along(cut->at, cut->depth, cut->along), mesh_world(mesh, hole->at));
    return vec_length(vec_along(from, -vec_dot(from, hole->along), hole->along));
}

static void expect_found(const struct screw_hole *hole, const struct mesh *mesh,
                         const struct fixing *cut, const char *what)
{
    double off = off_axis(hole, mesh, cut), turned_by = degrees_between(hole->along, cut->along);
    ck_assert_msg(off < holes_within_mm, "%s: %g mm beside its axis", what, off);
    if (turned_by > 90 && cut->kind == FIXING_BORE && cut->mouth == 0 && cut->through)
        turned_by = 180 - turned_by; /* a plain one through tells not from where it was bored */
    ck_assert_msg(turned_by < holes_within_degrees, "%s: %g degrees off", what, turned_by);
    ck_assert_msg(fabs(hole->width - cut->width) < holes_within_mm, "%s: %g mm, not %g", what,
                  hole->width, cut->width);
    ck_assert_msg(hole->corners >= hole->width && hole->corners < hole->width + 0.011,
                  "%s: %g mm at its edges, %g between facets", what, hole->corners, hole->width);
}

static const char *const fits[] = {"fine", "medium", "coarse"};
static const char *const heads[] = {"", "head=countersunk", "head=counterbore", "depth=11"};

/* On a box: all that is told is known. */
START_TEST(bores_in_a_box)
{
    uint64_t seed = 77 + (uint64_t)_i;
    enum screw screw = (enum screw)_i;
    for (int fit = 0; fit < 3; fit++)
        for (int head = 0; head < 4; head++) {
            char line[160], what[200];
            struct scene *scene = steps_scene(shape_box(70, 60, 25, 3));
            snprintf(line, sizeof line, "bore 31,27,25 screw=%s fit=%s %s", screw_name(screw),
                     fits[fit], heads[head]);
            scene = thrown(steps_after(scene, line), &seed);
            struct scene *read = steps_reopened(scene);
            const struct mesh *mesh = read->piece[0]->mesh;
            const struct screw_holes *holes = holes_of(mesh);
            const struct fixing *cut = scene->piece[0]->fixings->item;
            snprintf(what, sizeof what, "%s", line);
            ck_assert_msg(holes->count == 1, "%s: %zu holes", what, holes->count);
            const struct screw_hole *hole = holes->item;
            expect_found(hole, mesh, cut, what);
            ck_assert_double_eq_tol(hole->width, screw_measure(screw, (enum measure)fit),
                                    holes_within_mm);
            ck_assert_int_eq(hole->through, head != 3);
            ck_assert_double_eq_tol(hole->length, head == 3 ? 11 : 25, holes_within_mm);
            ck_assert_int_eq(hole->recess, head == 1   ? RECESS_SUNK
                                           : head == 2 ? RECESS_BORED
                                                       : RECESS_NONE);
            if (hole->recess != RECESS_NONE) {
                ck_assert_double_eq_tol(
                    hole->mouth,
                    screw_measure(screw, head == 1 ? MEASURE_sink : MEASURE_counterbore),
                    holes_within_mm);
                ck_assert_double_eq_tol(hole->sunk, cut->sunk, holes_within_mm);
            }
            if (hole->recess == RECESS_SUNK)
                ck_assert_double_eq_tol(hole->angle, 90, holes_within_degrees);
            ck_assert_double_eq_tol(vec_length(vec_sub(mesh_world(mesh, hole->at), cut->at)),
                                    degrees_between(hole->along, cut->along) > 90 ? 25 : 0,
                                    holes_within_mm);
            scene_free(read);
            scene_free(scene);
        }
}
END_TEST

/* On a ball the rims are no circles; on a rough one nothing is smooth but the hole. */
START_TEST(bores_in_balls)
{
    uint64_t seed = 5;
    for (int rough = 0; rough < 2; rough++)
        for (int s = SCREW_M2; s <= SCREW_M10; s++) {
            char line[120];
            struct mesh *ball = shape_sphere(40, 5);
            struct scene *scene = steps_scene(rough ? shape_rough(ball, 0.3F) : ball);
            snprintf(line, sizeof line, "bore 3,-2,40 screw=%s anyway=yes head=%s",
                     screw_name((enum screw)s), s % 2 ? "none" : "counterbore");
            scene = steps_after(scene, line);
            snprintf(line, sizeof line, "bore -40,1,9 screw=%s anyway=yes depth=20",
                     screw_name((enum screw)s));
            scene = thrown(steps_after(scene, line), &seed);
            struct scene *read = steps_reopened(scene);
            const struct mesh *mesh = read->piece[0]->mesh;
            const struct screw_holes *holes = holes_of(mesh);
            ck_assert_msg(holes->count == 2, "%s: %zu holes", line, holes->count);
            const struct fixing *cut = scene->piece[0]->fixings->item;
            int first = off_axis(&holes->item[0], mesh, &cut[0]) < 1 ? 0 : 1;
            for (int i = 0; i < 2; i++) {
                const struct screw_hole *hole = &holes->item[i ^ first];
                expect_found(hole, mesh, &cut[i], line);
                ck_assert_int_eq(hole->through, i == 0);
                ck_assert_int_eq(hole->recess, i || s % 2 ? RECESS_NONE : RECESS_BORED);
            }
            scene_free(read);
            scene_free(scene);
        }
}
END_TEST

START_TEST(keyholes_of_all_screws)
{
    uint64_t seed = 9;
    for (int s = SCREW_M3; s < SCREW_COUNT; s++) {
        char line[120];
        struct scene *scene = steps_scene(shape_box(140, 40, 90, 4));
        snprintf(line, sizeof line, "keyhole 70,0,40 screw=%s spacing=70",
                 screw_name((enum screw)s));
        scene = thrown(steps_after(scene, line), &seed);
        struct scene *read = steps_reopened(scene);
        const struct mesh *mesh = read->piece[0]->mesh;
        const struct screw_holes *holes = holes_of(mesh);
        ck_assert_msg(holes->count == 2, "%s: %zu holes", line, holes->count);
        for (int i = 0; i < 2; i++) {
            const struct fixing *cut = &scene->piece[0]->fixings->item[i];
            int which = off_axis(&holes->item[i], mesh, cut) < 1 ? i : !i;
            const struct screw_hole *hole = &holes->item[which];
            ck_assert_int_eq(hole->kind, SCREW_HOLE_KEYHOLE);
            expect_found(hole, mesh, cut, line);
            ck_assert(degrees_between(hole->up, cut->up) < holes_within_degrees);
            ck_assert_double_eq_tol(hole->entry, cut->entry, holes_within_mm);
            ck_assert_double_eq_tol(hole->travel, cut->travel, holes_within_mm);
            ck_assert_double_eq_tol(hole->lip, cut->lip, holes_within_mm);
            ck_assert_double_eq_tol(hole->pocket, cut->pocket, holes_within_mm);
            ck_assert_double_eq_tol(hole->room, cut->entry, holes_within_mm);
            ck_assert(vec_length(vec_sub(mesh_world(mesh, hole->at), cut->at)) < holes_within_mm);
        }
        scene_free(read);
        scene_free(scene);
    }
}
END_TEST

/* A surface reduced to a tolerance has circles with fewer and uneven facets: what is found is
 * right to that. */
START_TEST(after_decimating)
{
    static const double tolerance = 0.03;
    uint64_t seed = 3;
    struct scene *scene =
        steps_after(steps_scene(shape_box(100, 20, 60, 4)), "keyhole 50,0,25 spacing=60");
    scene = steps_after(scene, "bore 50,0,15 screw=M3 depth=8");
    scene = steps_after(scene, "bore 50,0,45 screw=M5 head=countersunk");
    scene = thrown(scene, &seed);
    struct scene *less = NULL;
    struct job job;
    ck_assert_int_eq(steps_run(scene, "decimate within=0.03", &less, &job), STATUS_OK);
    job_release(&job);
    struct scene *read = steps_reopened(less);
    const struct mesh *mesh = read->piece[0]->mesh;
    const struct screw_holes *holes = holes_of(mesh);
    ck_assert_uint_eq(holes->count, 4);
    for (size_t i = 0; i < 4; i++) {
        const struct fixing *cut = scene->piece[0]->fixings->item, *best = cut;
        for (size_t k = 0; k < 4; k++)
            if (off_axis(&holes->item[i], mesh, &cut[k]) < off_axis(&holes->item[i], mesh, best))
                best = &cut[k];
        ck_assert(off_axis(&holes->item[i], mesh, best) < tolerance);
        ck_assert_double_eq_tol(holes->item[i].width, best->width, 3 * tolerance);
        ck_assert_double_eq_tol(holes->item[i].corners, best->width, 2 * tolerance);
    }
    scene_free(less);
    scene_free(read);
    scene_free(scene);
}
END_TEST

Suite *suite_cut_holes(void);
Suite *suite_cut_holes(void)
{
    Suite *suite = suite_create("cut_holes");
    TCase *all = tcase_create("all");
    tcase_set_timeout(all, 120);
    tcase_add_loop_test(all, bores_in_a_box, SCREW_M2, SCREW_M10 + 1);
    tcase_add_test(all, bores_in_balls);
    tcase_add_test(all, keyholes_of_all_screws);
    tcase_add_test(all, after_decimating);
    suite_add_tcase(suite, all);
    return suite;
}
