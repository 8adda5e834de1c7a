/* The pose that pairs of points tell, in closed form. */
#include <check.h>
#include <string.h>

#include "core/job.h"
#include "scan/horn.h"
#include "tests/support/scanner.h"
#include "tests/support/shapes.h"

static const double degree = 3.14159265358979323846 / 180;

static struct vec random_point(uint64_t *seed)
{
    double x = shape_random(seed), y = shape_random(seed);
    return vec(100 * x, 80 * y, 60 * shape_random(seed));
}

START_TEST(pairs_give_known_poses_back)
{
    uint64_t seed = 5;
    for (int trial = 0; trial < 200; trial++) {
        struct rigid pose = scanner_pose(&seed, 500);
        struct vec from[8], to[8];
        double weight[8];
        size_t count = 3 + (size_t)trial % 6;
        for (size_t i = 0; i < count; i++) {
            from[i] = random_point(&seed);
            to[i] = rigid_apply(&pose, from[i]);
            weight[i] = 0.1 + shape_random(&seed);
        }
        struct horn horn;
        ck_assert(horn_solve(from, to, trial % 2 ? weight : NULL, count, &horn));
        ck_assert_double_lt(horn.rms, 1e-5); /* of a difference of squares of 500 mm */
        ck_assert_double_eq_tol(horn.scale, 1, 1e-9);
        for (size_t i = 0; i < count; i++)
            ck_assert_double_lt(vec_length(vec_sub(rigid_apply(&horn.motion, from[i]), to[i])),
                                1e-9);
    }
}
END_TEST

/* No small change of the answer makes the sum of squares less. */
START_TEST(pairs_leave_the_least_squares)
{
    uint64_t seed = 6;
    struct vec from[6], to[6];
    struct rigid pose = scanner_pose(&seed, 50);
    for (int i = 0; i < 6; i++) {
        from[i] = random_point(&seed);
        to[i] = vec_add(rigid_apply(&pose, from[i]), vec_scale(random_point(&seed), 0.05));
    }
    struct horn horn;
    ck_assert(horn_solve(from, to, NULL, 6, &horn));
    for (int trial = -1; trial < 100; trial++) {
        struct rigid by = rigid_rest(), other;
        if (trial >= 0)
            by = scanner_knock(0.2, 0.1, &seed);
        other = rigid_then(&horn.motion, &by);
        double sum = 0;
        for (int i = 0; i < 6; i++)
            sum += vec_length2(vec_sub(rigid_apply(&other, from[i]), to[i]));
        ck_assert_double_ge(sqrt(sum / 6), horn.rms - 1e-9);
        if (trial < 0)
            ck_assert_double_eq_tol(sqrt(sum / 6), horn.rms, 1e-9);
    }
}
END_TEST

START_TEST(pairs_that_tell_nothing)
{
    struct vec line[4] = {{0, 0, 0}, {10, 10, 10}, {20, 20, 20}, {-5, -5, -5}};
    struct vec three[3] = {{0, 0, 0}, {10, 0, 0}, {0, 10, 0}};
    struct horn horn;
    ck_assert(!horn_solve(line, line, NULL, 4, &horn));
    ck_assert_double_lt(horn.spread[0], 1e-6);
    ck_assert(!horn_solve(three, three, NULL, 2, &horn));
    ck_assert(horn_solve(three, three, NULL, 3, &horn));
    struct vec same[3] = {{1, 1, 1}, {1, 1, 1}, {1, 1, 1}};
    ck_assert(!horn_solve(same, three, NULL, 3, &horn));
    three[1].x = NAN;
    ck_assert(!horn_solve(three, three, NULL, 3, &horn));
}
END_TEST

/* The worked example of the three-dimensional conformal transformation in C. D. Ghilani & P. R.
 * Wolf, "Adjustment Computations" (data and results from memory; they agree with each other within
 * the standard errors given there, 0.07 and 10 seconds). Its angles are those of the matrix that
 * takes the second system to the first. */
START_TEST(pairs_of_a_handbook)
{
    static const struct vec from[4] = {{1094.883, 820.085, 109.821},
                                       {503.891, 1598.698, 117.685},
                                       {2349.343, 207.658, 151.387},
                                       {1395.320, 1348.853, 215.261}};
    static const struct vec to[4] = {{10037.81, 5262.09, 772.04},
                                     {10956.68, 5128.17, 783.00},
                                     {8780.08, 4840.29, 782.62},
                                     {10185.80, 4700.21, 851.32}};
    const double omega = 2 + 17 / 60.0 + 5.3 / 3600, phi = -(33 / 60.0 + 2.8 / 3600);
    const double kappa = 224 + 32 / 60.0 + 10.9 / 3600 - 360, second = 1 / 3600.0;
    struct horn horn;
    struct vec middle[2] = {{0, 0, 0}, {0, 0, 0}};
    ck_assert(horn_solve(from, to, NULL, 4, &horn));
    ck_assert_double_eq_tol(horn.scale, 0.94996, 1e-5);
    struct rigid m = rigid_inverse(&horn.motion);
    ck_assert_double_eq_tol(atan2(-m.turn[2][1], m.turn[2][2]) / degree, omega, 5 * second);
    ck_assert_double_eq_tol(asin(m.turn[2][0]) / degree, phi, 5 * second);
    ck_assert_double_eq_tol(atan2(-m.turn[1][0], m.turn[0][0]) / degree, kappa, 5 * second);
    for (int i = 0; i < 4; i++) {
        middle[0] = vec_along(middle[0], 0.25, from[i]);
        middle[1] = vec_along(middle[1], 0.25, to[i]);
    }
    struct vec turned = rigid_direction(&horn.motion, middle[0]);
    struct vec shift = vec_along(middle[1], -horn.scale, turned);
    ck_assert_double_lt(vec_length(vec_sub(shift, vec(10233.858, 6549.981, 720.897))), 0.05);
}
END_TEST

START_TEST(mirrored_and_scaled_pairs_are_known)
{
    struct vec from[5] = {{0, 0, 0}, {30, 0, 0}, {0, 20, 0}, {0, 0, 10}, {7, 8, 9}}, to[5];
    struct horn horn;
    for (int i = 0; i < 5; i++)
        to[i] = vec(-from[i].x, from[i].y, from[i].z);
    ck_assert(horn_solve(from, to, NULL, 5, &horn));
    ck_assert_double_lt(horn.mirrored_rms, 1e-6);
    ck_assert_double_gt(horn.rms, 1);
    for (int i = 0; i < 5; i++)
        to[i] = vec_scale(from[i], 25.4);
    ck_assert(horn_solve(from, to, NULL, 5, &horn));
    ck_assert_double_eq_tol(horn.scale, 25.4, 1e-9);
}
END_TEST

Suite *suite_horn(void);
Suite *suite_horn(void)
{
    Suite *suite = suite_create("horn");
    TCase *pairs = tcase_create("pairs");
    tcase_add_test(pairs, pairs_give_known_poses_back);
    tcase_add_test(pairs, pairs_leave_the_least_squares);
    tcase_add_test(pairs, pairs_that_tell_nothing);
    tcase_add_test(pairs, pairs_of_a_handbook);
    tcase_add_test(pairs, mirrored_and_scaled_pairs_are_known);
    suite_add_tcase(suite, pairs);
    return suite;
}
