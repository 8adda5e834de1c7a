/* Eigenvalues against a matrix made from known ones. */
#include <check.h>
#include <math.h>
#include <string.h>

#include "core/eigen.h"
#include "tests/support/shapes.h"

Suite *suite_eigen(void);

/* Rows that stand on each other at right angles, by Gram and Schmidt. */
static void random_frame(int n, double *frame, uint64_t *seed)
{
    for (int i = 0; i < n; i++) {
        for (int k = 0; k < n; k++)
            frame[i * n + k] = shape_random(seed) - 0.5;
        for (int pass = 0; pass < 2; pass++)
            for (int j = 0; j <= i; j++) {
                double dot = 0;
                for (int k = 0; k < n; k++)
                    dot += frame[i * n + k] * frame[j * n + k];
                for (int k = 0; k < n; k++)
                    frame[i * n + k] = j < i ? frame[i * n + k] - dot * frame[j * n + k]
                                             : frame[i * n + k] / sqrt(dot);
            }
    }
}

static void compose(int n, const double *value, const double *frame, double *matrix)
{
    for (int i = 0; i < n * n; i++) {
        matrix[i] = 0;
        for (int j = 0; j < n; j++)
            matrix[i] += value[j] * frame[j * n + i / n] * frame[j * n + i % n];
    }
}

START_TEST(known_values_come_back)
{
    uint64_t seed = 7;
    for (int trial = 0; trial < 200; trial++) {
        int n = 2 + trial % (EIGEN_MOST - 1);
        double value[EIGEN_MOST], frame[64], matrix[64], found[EIGEN_MOST], vector[64], again[64];
        value[0] = 10 * shape_random(&seed) - 5;
        for (int i = 1; i < n; i++) /* some of them equal */
            value[i] = value[i - 1] + (trial % 3 && i == 1 ? 0 : shape_random(&seed));
        random_frame(n, frame, &seed);
        compose(n, value, frame, matrix);
        memcpy(again, matrix, sizeof again);
        eigen_symmetric(n, again, found, vector);
        for (int i = 0; i < n; i++)
            ck_assert_double_eq_tol(found[i], value[i], 1e-13);
        compose(n, found, vector, again);
        for (int i = 0; i < n * n; i++)
            ck_assert_double_eq_tol(again[i], matrix[i], 1e-13);
    }
}
END_TEST

START_TEST(scales_far_apart)
{
    double matrix[9] = {1e-30, 0, 0, 0, 0, 0, 0, 0, 1e30}, value[3], vector[9];
    eigen_symmetric(3, matrix, value, vector);
    ck_assert_double_eq(value[0], 0);
    ck_assert_double_eq(value[1], 1e-30);
    ck_assert_double_eq(value[2], 1e30);
    ck_assert_double_eq(fabs(vector[0 * 3 + 1]), 1);
    double empty[1] = {3};
    eigen_symmetric(1, empty, value, vector);
    ck_assert_double_eq(value[0], 3);
}
END_TEST

Suite *suite_eigen(void)
{
    Suite *suite = suite_create("eigen");
    TCase *all = tcase_create("all");
    tcase_add_test(all, known_values_come_back);
    tcase_add_test(all, scales_far_apart);
    suite_add_tcase(suite, all);
    return suite;
}
