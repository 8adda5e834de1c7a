/* Moving as a whole: lengths, volumes and directions after it; nothing lost far from zero. */
#include <check.h>
#include <math.h>
#include <string.h>

#include "core/topology.h"
#include "solid/place.h"
#include "tests/support/shapes.h"

static const double pi = 3.14159265358979323846;

static struct vec size_of(const struct mesh *mesh)
{
    return mesh_bounds(mesh, NULL)->size;
}

START_TEST(scaling_cubes_the_volume)
{
    struct mesh *ball = shape_sphere(50, 3);
    struct motion motion = motion_scale(0.5, vec(0, 0, 0));
    struct mesh *half = motion_mesh(&motion, ball, NULL);
    double before = shape_count(ball).volume, after = shape_count(half).volume;
    ck_assert_double_eq_tol(after, before / 8, 1e-6 * before);
    ck_assert_ptr_eq(half->triangle, ball->triangle);
    mesh_free(half);
    mesh_free(ball);
}
END_TEST

START_TEST(a_quarter_turn_swaps_sides)
{
    struct mesh *box = shape_box(30, 20, 10, 2);
    struct motion motion = motion_turn(vec(0, 0, 1), pi / 2, vec(15, 10, 5));
    struct mesh *turned = motion_mesh(&motion, box, NULL);
    struct vec size = size_of(turned), centre = mesh_bounds(turned, NULL)->centre;
    ck_assert_double_eq_tol(size.x, 20, 1e-5);
    ck_assert_double_eq_tol(size.y, 30, 1e-5);
    ck_assert_double_eq_tol(size.z, 10, 1e-5);
    ck_assert_double_eq_tol(vec_length(vec_sub(centre, vec(15, 10, 5))), 0, 1e-5);
    ck_assert_double_eq_tol(shape_count(turned).volume, 6000, 1e-2);
    /* counter-clockwise: x goes to y */
    struct vec x = motion_direction(&motion, vec(1, 0, 0));
    ck_assert_double_eq_tol(x.y, 1, 1e-15);
    mesh_free(turned);
    mesh_free(box);
}
END_TEST

START_TEST(one_after_the_other_is_both)
{
    struct motion a = motion_turn(vec_unit(vec(1, 2, 3)), 0.7, vec(4, 5, 6));
    struct motion b = motion_scale(1.7, vec(-3, 1, 2)), c = motion_shift(vec(9, -8, 7));
    struct motion ab = motion_then(&a, &b), abc = motion_then(&ab, &c);
    struct vec p = vec(12.5, -3.25, 8);
    struct vec stepwise = motion_apply(&c, motion_apply(&b, motion_apply(&a, p)));
    ck_assert_double_lt(vec_length(vec_sub(motion_apply(&abc, p), stepwise)), 1e-12);
}
END_TEST

START_TEST(directions_turn_along)
{
    struct mesh *box = shape_box(1, 1, 1, 1);
    struct point *normal = mesh_attribute_new(box, ATTRIBUTE_normal);
    for (size_t v = 0; v < mesh_vertices(box); v++)
        normal[v] = (struct point){1, 0, 0};
    struct motion motion = motion_turn(vec(0, 0, 1), pi / 2, vec(0, 0, 0));
    struct motion scaled = motion_scale(5, vec(0, 0, 0)), both = motion_then(&motion, &scaled);
    struct mesh *turned = motion_mesh(&both, box, NULL);
    const struct point *after = mesh_attribute(turned, ATTRIBUTE_normal);
    for (size_t v = 0; v < mesh_vertices(turned); v++) {
        ck_assert_double_eq_tol(after[v].x, 0, 1e-6);
        ck_assert_double_eq_tol(after[v].y, 1, 1e-6); /* unit still, whatever the scale */
    }
    mesh_free(turned);
    mesh_free(box);
}
END_TEST

START_TEST(far_from_zero_nothing_is_lost)
{
    struct mesh *ball = shape_sphere(50, 3);
    ball->origin[0] = 4.5e9; /* a geo-referenced scan, mm */
    ball->origin[1] = 5.3e9;
    struct motion motion = motion_shift(vec(1.25, 2.5, -3));
    struct mesh *moved = motion_mesh(&motion, ball, NULL);
    ck_assert(memcmp(mesh_point(moved), mesh_point(ball), mesh_vertices(ball) * sizeof(struct point)) == 0);
    ck_assert_double_eq(moved->origin[0], 4.5e9 + 1.25);
    ck_assert_double_eq_tol(shape_count(moved).volume, shape_count(ball).volume, 1e-9);
    mesh_free(moved);
    mesh_free(ball);
}
END_TEST

Suite *suite_place(void);

Suite *suite_place(void)
{
    Suite *suite = suite_create("place");
    TCase *tests = tcase_create("place");
    tcase_add_test(tests, scaling_cubes_the_volume);
    tcase_add_test(tests, a_quarter_turn_swaps_sides);
    tcase_add_test(tests, one_after_the_other_is_both);
    tcase_add_test(tests, directions_turn_along);
    tcase_add_test(tests, far_from_zero_nothing_is_lost);
    suite_add_tcase(suite, tests);
    return suite;
}
