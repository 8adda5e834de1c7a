/* Filling the one hole that a place is near. */
#include <check.h>
#include <math.h>

#include "surface/fill.h"
#include "surface/fill_one.h"
#include "tests/support/holes.h"
#include "tests/support/shapes.h"
#include "tests/support/steps.h"

Suite *suite_fill_one(void);

static struct mesh *filled_at(struct mesh *mesh, struct vec at, struct fill_report *report)
{
    const struct fill_options options = {.shape = FILL_SMOOTH, .at = &at};
    struct mesh *out = NULL;
    ck_assert_int_eq(fill_holes(mesh, &options, &out, report, NULL), STATUS_OK);
    mesh_free(mesh);
    return out;
}

/* A sheet 10 mm wide with a hole in its middle: that one, or its outer edge of 80 edges. */
static const struct {
    double at[2];
    bool middle;
} places[] = {{{5, 5}, true}, {{6.9, 5}, true}, {{0.3, 4}, false}, {{-90, 900}, false}};

START_TEST(only_the_nearest_is_filled)
{
    struct fill_report report;
    struct mesh *open = holes_cut(shape_patch(10, 20, holes_wave), holes_in_middle);
    size_t all = shape_count(open).boundary;
    struct mesh *mesh = filled_at(open, vec(places[_i].at[0], places[_i].at[1], 0), &report);
    ck_assert_uint_eq(report.filled, 1);
    ck_assert_uint_eq(shape_count(mesh).boundary, places[_i].middle ? 80 : all - 80);
    mesh_free(mesh);
}
END_TEST

/* The same whatever the origin is: places are world coordinates. */
START_TEST(far_from_the_origin)
{
    struct fill_report report;
    struct mesh *open = holes_cut(shape_patch(10, 20, holes_wave), holes_in_middle);
    open->origin[0] = 4e6;
    struct mesh *mesh = filled_at(open, vec(4e6 + 5, 5, 0), &report);
    ck_assert_uint_eq(shape_count(mesh).boundary, 80);
    mesh_free(mesh);
}
END_TEST

/* A rim part of which runs along triangles turned over closes no loop: it is one hole all the same.
 */
START_TEST(a_misoriented_rim_is_one)
{
    struct fill_report report;
    struct mesh *open = holes_cut(shape_sphere(10, 3), holes_in_cap);
    size_t turned = 0;
    for (size_t t = 0; t < mesh_triangles(open); t++) {
        struct vec c = vec_unit(holes_centre(open, t));
        if (c.z < cos(0.6) || c.x < 0)
            continue;
        uint32_t *v = mesh_triangle_edit(open)[t].v, first = v[0];
        v[0] = v[1];
        v[1] = first;
        turned++;
    }
    ck_assert_uint_gt(turned, 4);
    struct mesh *mesh = filled_at(open, vec(0, 0, 10), &report);
    ck_assert_uint_eq(report.filled, 1);
    ck_assert_uint_eq(report.crossed, 1);
    ck_assert_uint_eq(shape_count(mesh).boundary, 0);
    mesh_free(mesh);
}
END_TEST

/* Of several pieces the one that was filled is named. */
START_TEST(the_piece_is_named)
{
    struct mesh *here = holes_cut(shape_patch(10, 20, holes_wave), holes_in_middle);
    struct mesh *there = mesh_new_like(here);
    there->origin[0] += 100;
    struct scene *scene = steps_pair(here, there);
    scene = steps_told(scene, "fill at=105,5,0", "part: 1 hole filled");
    scene = steps_told(scene, "fill at=5,5,0", "base: 1 hole filled");
    scene_free(scene);
}
END_TEST

START_TEST(what_has_no_rim_has_no_distance)
{
    double distance = 0;
    struct mesh *ball = shape_sphere(10, 2);
    ck_assert_int_eq(fill_one_find(ball, vec(0, 0, 0), NULL, &distance, NULL), STATUS_OK);
    ck_assert(isinf(distance));
    mesh_free(ball);
}
END_TEST

Suite *suite_fill_one(void)
{
    Suite *suite = suite_create("fill_one");
    TCase *tests = tcase_create("fill_one");
    tcase_add_loop_test(tests, only_the_nearest_is_filled, 0, sizeof places / sizeof *places);
    tcase_add_test(tests, far_from_the_origin);
    tcase_add_test(tests, a_misoriented_rim_is_one);
    tcase_add_test(tests, the_piece_is_named);
    tcase_add_test(tests, what_has_no_rim_has_no_distance);
    suite_add_tcase(suite, tests);
    return suite;
}
