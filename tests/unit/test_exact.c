/* The exact predicates against whole-number arithmetic of 128 bits, where the floating-point
 * filter must fail as often as not. */
#include <check.h>
#include <math.h>
#include <stdbool.h>
#include <stdint.h>
#include <stdlib.h>

#include "core/exact.h"
#include "tests/support/shapes.h"

__extension__ typedef __int128 wide;

/* Failures are counted: an assertion a case would take longer than the case. */
static int wrong;

static void same(int is, int should)
{
    wrong += is != should;
}

static int wide_sign(wide x)
{
    return (x > 0) - (x < 0);
}

static int64_t whole(uint64_t *state, int64_t most)
{
    return (int64_t)(shape_random(state) * (double)(2 * most + 1)) - most;
}

static int whole_side(const int64_t a[3], const int64_t b[3], const int64_t c[3],
                      const int64_t d[3])
{
    wide p[3], q[3], r[3];
    for (int k = 0; k < 3; k++) {
        p[k] = (wide)a[k] - d[k];
        q[k] = (wide)b[k] - d[k];
        r[k] = (wide)c[k] - d[k];
    }
    return wide_sign(p[2] * (q[0] * r[1] - r[0] * q[1]) + q[2] * (r[0] * p[1] - p[0] * r[1]) +
                     r[2] * (p[0] * q[1] - q[0] * p[1]));
}

static struct vec scaled(const int64_t a[3], double unit)
{
    return vec((double)a[0] * unit, (double)a[1] * unit, (double)a[2] * unit);
}

static void side_agrees(const int64_t p[4][3], double unit)
{
    static const int order[6][4] = {{0, 1, 2, 3}, {1, 0, 2, 3}, {0, 1, 3, 2},
                                    {3, 2, 1, 0}, {2, 3, 0, 1}, {1, 2, 3, 0}};
    for (int i = 0; i < 6; i++) {
        const int *o = order[i];
        int is = exact_side(scaled(p[o[0]], unit), scaled(p[o[1]], unit), scaled(p[o[2]], unit),
                            scaled(p[o[3]], unit));
        same(is, whole_side(p[o[0]], p[o[1]], p[o[2]], p[o[3]]));
    }
}

START_TEST(side_has_the_stated_sense)
{
    /* a b c counter-clockwise seen from above (z), d below: positive */
    ck_assert_int_eq(exact_side(vec(0, 0, 0), vec(1, 0, 0), vec(0, 1, 0), vec(0, 0, -1)), 1);
    ck_assert_int_eq(exact_side(vec(0, 0, 0), vec(1, 0, 0), vec(0, 1, 0), vec(0, 0, 1)), -1);
    ck_assert_int_eq(exact_side(vec(0, 0, 0), vec(1, 0, 0), vec(0, 1, 0), vec(7, -9, 0)), 0);
}
END_TEST

START_TEST(side_of_small_grids)
{
    uint64_t state = 1;
    int zeros = 0;
    for (int i = 0; i < 200000; i++) {
        int64_t p[4][3];
        for (int k = 0; k < 12; k++)
            p[k / 3][k % 3] = whole(&state, 3);
        side_agrees((const int64_t(*)[3])p, 0.125);
        zeros += whole_side(p[0], p[1], p[2], p[3]) == 0;
    }
    ck_assert_int_gt(zeros, 10000);
    ck_assert_int_eq(wrong, 0);
}
END_TEST

/* d in the plane of a, b, c but for a last bit: 40-bit coordinates, determinants of 125 bits. */
START_TEST(side_near_the_plane)
{
    uint64_t state = 2;
    int counts[3] = {0};
    for (int i = 0; i < 200000; i++) {
        int64_t p[4][3], s = whole(&state, 30), t = whole(&state, 30);
        for (int k = 0; k < 3; k++) {
            p[0][k] = whole(&state, (int64_t)1 << 38);
            p[1][k] = p[0][k] + whole(&state, (int64_t)1 << 32);
            p[2][k] = p[0][k] + whole(&state, (int64_t)1 << 32);
            p[3][k] = p[0][k] + s * (p[1][k] - p[0][k]) + t * (p[2][k] - p[0][k]);
        }
        p[3][i % 3] += whole(&state, 1);
        side_agrees((const int64_t(*)[3])p, 0x1p-60);
        counts[1 + whole_side(p[0], p[1], p[2], p[3])]++;
    }
    for (int k = 0; k < 3; k++)
        ck_assert_int_gt(counts[k], 10000);
    ck_assert_int_eq(wrong, 0);
}
END_TEST

/* x so far apart that differences do not fit a double: their tails decide. */
START_TEST(side_with_inexact_differences)
{
    uint64_t state = 3;
    int counts[3] = {0};
    for (int i = 0; i < 100000; i++) {
        int64_t p[4][3], big = (int64_t)1 << 54;
        for (int k = 0; k < 4; k++) {
            p[k][0] = k == 3 ? big + 4 * whole(&state, 1) : 2 * whole(&state, 2) + 1;
            p[k][1] = whole(&state, 3);
            p[k][2] = whole(&state, 3);
        }
        side_agrees((const int64_t(*)[3])p, 0.5);
        counts[1 + whole_side(p[0], p[1], p[2], p[3])]++;
    }
    for (int k = 0; k < 3; k++)
        ck_assert_int_gt(counts[k], 100);
    ck_assert_int_eq(wrong, 0);
}
END_TEST

static int whole_turn(const int64_t a[2], const int64_t b[2], const int64_t c[2])
{
    return wide_sign(((wide)a[0] - c[0]) * ((wide)b[1] - c[1]) -
                     ((wide)a[1] - c[1]) * ((wide)b[0] - c[0]));
}

/* Kettner et al., "Classroom examples of robustness problems in geometric computations" (2008):
 * p moves in steps of one last bit about (0.5, 0.5); q = (12, 12) and r = (24, 24). Plain
 * arithmetic gives a chequered picture; the truth is the diagonal. */
START_TEST(turn_of_the_classroom)
{
    const double q[2] = {12, 12}, r[2] = {24, 24};
    for (int i = 0; i < 256; i++)
        for (int j = 0; j < 256; j++) {
            double p[2] = {0.5 + i * 0x1p-53, 0.5 + j * 0x1p-53};
            int64_t unit = (int64_t)1 << 53, pi[2] = {unit / 2 + i, unit / 2 + j};
            int64_t qi[2] = {12 * unit, 12 * unit}, ri[2] = {24 * unit, 24 * unit};
            same(exact_turn(p, q, r), whole_turn(pi, qi, ri));
            same(exact_turn(q, p, r), -whole_turn(pi, qi, ri));
        }
    ck_assert_int_eq(wrong, 0);
}
END_TEST

START_TEST(turn_of_random_points)
{
    uint64_t state = 4;
    int zeros = 0;
    for (int i = 0; i < 300000; i++) {
        int64_t p[3][2], s = whole(&state, 100);
        for (int k = 0; k < 2; k++) {
            p[0][k] = whole(&state, (int64_t)1 << 50);
            p[1][k] = p[0][k] + whole(&state, (int64_t)1 << 43);
            p[2][k] = p[0][k] + s * (p[1][k] - p[0][k]);
        }
        p[2][i % 2] += whole(&state, 1);
        double d[3][2];
        for (int k = 0; k < 6; k++)
            d[k / 2][k % 2] = (double)p[k / 2][k % 2];
        int is = whole_turn(p[0], p[1], p[2]);
        same(exact_turn(d[0], d[1], d[2]), is);
        same(exact_turn(d[2], d[0], d[1]), is);
        same(exact_turn(d[1], d[0], d[2]), -is);
        zeros += is == 0;
    }
    ck_assert_int_gt(zeros, 50000);
    ck_assert_int_eq(wrong, 0);
}
END_TEST

static int whole_circle(const int64_t p[4][2])
{
    wide x[3], y[3], lift[3];
    for (int i = 0; i < 3; i++) {
        x[i] = (wide)p[i][0] - p[3][0];
        y[i] = (wide)p[i][1] - p[3][1];
        lift[i] = x[i] * x[i] + y[i] * y[i];
    }
    return wide_sign(lift[0] * (x[1] * y[2] - x[2] * y[1]) + lift[1] * (x[2] * y[0] - x[0] * y[2]) +
                     lift[2] * (x[0] * y[1] - x[1] * y[0]));
}

/* Corners of rectangles lie on one circle; one of them moved by a last bit does not. */
START_TEST(circle_near_the_circle)
{
    uint64_t state = 5;
    int counts[3] = {0};
    for (int i = 0; i < 200000; i++) {
        int64_t x = whole(&state, 1 << 27), y = whole(&state, 1 << 27);
        int64_t a = 1 + llabs(whole(&state, 1 << 13)), b = whole(&state, 1 << 13);
        int64_t s = 1 + llabs(whole(&state, 1 << 12)), t = 1 + llabs(whole(&state, 1 << 12));
        /* sides s (a, b) and t (-b, a) */
        int64_t p[4][2] = {{x, y},
                           {x + s * a, y + s * b},
                           {x + s * a - t * b, y + s * b + t * a},
                           {x - t * b, y + t * a}};
        p[i % 4][i / 4 % 2] += whole(&state, 1);
        double d[4][2];
        for (int k = 0; k < 8; k++)
            d[k / 2][k % 2] = (double)p[k / 2][k % 2] * 0x1p-20;
        int is = whole_circle((const int64_t(*)[2])p);
        same(exact_circle(d[0], d[1], d[2], d[3]), is);
        counts[1 + is]++;
    }
    for (int k = 0; k < 3; k++)
        ck_assert_int_gt(counts[k], 10000);
    const double c[4][2] = {{0, 0}, {1, 0}, {0, 1}, {0.25, 0.25}};
    ck_assert_int_eq(exact_circle(c[0], c[1], c[2], c[3]), 1);
    ck_assert_int_eq(wrong, 0);
}
END_TEST

/* d so far off that differences to it round: it lies outside any circle, on the side that the
 * turn of a, b, c says. */
START_TEST(circle_with_inexact_differences)
{
    uint64_t state = 6;
    const double far[2] = {0x1p60, 0};
    int tested = 0;
    for (int i = 0; i < 20000; i++) {
        int64_t p[3][2];
        double d[3][2];
        for (int k = 0; k < 6; k++) {
            p[k / 2][k % 2] = whole(&state, 4);
            d[k / 2][k % 2] = (double)p[k / 2][k % 2];
        }
        int turn = whole_turn(p[0], p[1], p[2]);
        if (turn == 0)
            continue;
        same(exact_circle(d[0], d[1], d[2], far), -turn);
        tested++;
    }
    ck_assert_int_gt(tested, 10000);
    ck_assert_int_eq(wrong, 0);
}
END_TEST

START_TEST(plane_of_whole_numbers)
{
    uint64_t state = 7;
    for (int i = 0; i < 200000; i++) {
        int64_t n[3], p[3];
        wide dot = 0;
        for (int k = 0; k < 3; k++) {
            n[k] = whole(&state, (int64_t)1 << 45);
            p[k] = whole(&state, (int64_t)1 << 45);
            dot += (wide)n[k] * p[k];
        }
        /* the double nearest to the product, and its two neighbours */
        for (int k = -1; k <= 1; k++) {
            double o = k ? nextafter((double)dot, (double)k * (double)INFINITY) : (double)dot;
            int is = wide_sign(dot - (wide)o);
            same(exact_plane(scaled(n, 1), o, scaled(p, 1)), is);
            same(exact_plane(scaled(n, -0x1p-30), -o * 0x1p-50, scaled(p, 0x1p-20)), -is);
        }
    }
    for (int i = 0; i < 100000; i++) { /* exactly on the plane */
        int64_t n[3], p[3], dot = 0;
        for (int k = 0; k < 3; k++) {
            n[k] = whole(&state, 1 << 20);
            p[k] = whole(&state, 1 << 20);
            dot += n[k] * p[k];
        }
        same(exact_plane(scaled(n, 1), (double)dot, scaled(p, 1)), 0);
    }
    ck_assert_int_eq(wrong, 0);
}
END_TEST

START_TEST(extremes_of_the_promised_range)
{
    double s = 1e70, t = 1e-70;
    ck_assert_int_eq(exact_side(vec(s, 0, 0), vec(0, s, 0), vec(0, 0, s), vec(0, 0, 0)), 1);
    ck_assert_int_eq(exact_side(vec(s, 0, 0), vec(0, s, 0), vec(s, s, 0), vec(s, -s, t)), 1);
    ck_assert_int_eq(exact_side(vec(s, 0, 0), vec(0, s, 0), vec(s, s, 0), vec(s, -s, 0)), 0);
    ck_assert_int_eq(exact_side(vec(t, 0, 0), vec(0, t, 0), vec(0, 0, t), vec(0, 0, 0)), 1);
    ck_assert_int_eq(exact_plane(vec(s, t, 0), s, vec(1, t, 0)), 1);
}
END_TEST

/* --- order along a segment ------------------------------------------------------------------- */

static wide whole_volume(const int64_t a[3], const int64_t b[3], const int64_t c[3],
                         const int64_t d[3])
{
    wide p[3], q[3], r[3];
    for (int k = 0; k < 3; k++) {
        p[k] = (wide)a[k] - d[k];
        q[k] = (wide)b[k] - d[k];
        r[k] = (wide)c[k] - d[k];
    }
    return p[2] * (q[0] * r[1] - r[0] * q[1]) + q[2] * (r[0] * p[1] - p[0] * r[1]) +
           r[2] * (p[0] * q[1] - q[0] * p[1]);
}

static wide magnitude(wide x)
{
    return x < 0 ? -x : x;
}

/* p[0], p[1]: the segment; p[2..4] and p[5..7]: the planes. False: they do not part its ends. */
static bool order_agrees(const int64_t p[8][3], double unit, int counts[3])
{
    wide from[2], to[2];
    struct vec at[8];
    for (int i = 0; i < 8; i++)
        at[i] = scaled(p[i], unit);
    for (int i = 0; i < 2; i++) {
        const int64_t(*plane)[3] = &p[2 + 3 * i];
        from[i] = whole_volume(plane[0], plane[1], plane[2], p[0]);
        to[i] = whole_volume(plane[0], plane[1], plane[2], p[1]);
        if (wide_sign(from[i]) * wide_sign(to[i]) >= 0)
            return false;
        double value = exact_volume(at[2 + 3 * i], at[3 + 3 * i], at[4 + 3 * i], at[0]);
        double should = (double)from[i] * unit * unit * unit;
        wrong += fabs(value - should) > 1e-12 * fabs(should);
    }
    int should =
        wide_sign(magnitude(from[0]) * magnitude(to[1]) - magnitude(from[1]) * magnitude(to[0]));
    same(exact_order(at[0], at[1], &at[2], &at[5]), should);
    same(exact_order(at[0], at[1], &at[5], &at[2]), -should);
    same(exact_order(at[1], at[0], &at[2], &at[5]), -should);
    counts[1 + should]++;
    return true;
}

START_TEST(order_of_small_grids)
{
    uint64_t state = 11;
    int counts[3] = {0};
    for (int i = 0; i < 100000; i++) {
        int64_t p[8][3];
        for (int k = 0; k < 24; k++)
            p[k / 3][k % 3] = whole(&state, 2);
        order_agrees((const int64_t(*)[3])p, 0.125, counts);
    }
    for (int k = 0; k < 3; k++)
        ck_assert_int_gt(counts[k], 400);
    ck_assert_int_eq(wrong, 0);
}
END_TEST

/* Two planes through one point of the segment, but for a last bit: products of 124 bits. */
START_TEST(order_near_one_point)
{
    uint64_t state = 12;
    int counts[3] = {0};
    for (int i = 0; i < 100000; i++) {
        int64_t p[8][3], middle[3];
        for (int k = 0; k < 3; k++) {
            middle[k] = whole(&state, 1 << 19);
            int64_t way = whole(&state, 1 << 8);
            p[0][k] = middle[k] - way * (1 + i % 7);
            p[1][k] = middle[k] + way * (1 + i % 5);
            for (int n = 2; n < 8; n++)
                p[n][k] = n == 2 || n == 5 ? middle[k] : middle[k] + whole(&state, 1 << 18);
        }
        p[5][i % 3] += whole(&state, 1);
        order_agrees((const int64_t(*)[3])p, 0x1p-30, counts);
    }
    for (int k = 0; k < 3; k++)
        ck_assert_int_gt(counts[k], 1000);
    ck_assert_int_eq(wrong, 0);
}
END_TEST

Suite *suite_exact(void);

Suite *suite_exact(void)
{
    Suite *suite = suite_create("exact");
    TCase *tests = tcase_create("exact");
    tcase_set_timeout(tests, 120);
    tcase_add_test(tests, side_has_the_stated_sense);
    tcase_add_test(tests, side_of_small_grids);
    tcase_add_test(tests, side_near_the_plane);
    tcase_add_test(tests, side_with_inexact_differences);
    tcase_add_test(tests, turn_of_the_classroom);
    tcase_add_test(tests, turn_of_random_points);
    tcase_add_test(tests, circle_near_the_circle);
    tcase_add_test(tests, circle_with_inexact_differences);
    tcase_add_test(tests, plane_of_whole_numbers);
    tcase_add_test(tests, extremes_of_the_promised_range);
    tcase_add_test(tests, order_of_small_grids);
    tcase_add_test(tests, order_near_one_point);
    suite_add_tcase(suite, tests);
    return suite;
}
