/* Convex hulls: closed, convex to the last bit, and with nothing outside, on points of every kind.
 */
#include <check.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "core/exact.h"
#include "core/hull.h"
#include "core/job.h"
#include "tests/support/shapes.h"

static struct hull hull_now(const struct vec *point, size_t count)
{
    struct job job;
    job_init(&job);
    struct hull hull;
    ck_assert_msg(hull_make(point, count, &hull, &job) == STATUS_OK, "%s", job.message);
    job_release(&job);
    return hull;
}

/* Closed and with right neighbours; no point above any face; all by exact predicates. */
static void expect_hull(const struct vec *point, size_t count, const struct hull *hull)
{
    ck_assert_int_eq(hull->dimension, 3);
    size_t corners = 0, outside = 0, strangers = 0;
    bool *used = calloc(count, sizeof *used);
    for (size_t t = 0; t < hull->triangles; t++) {
        const uint32_t *v = hull->triangle[t].v;
        for (int k = 0; k < 3; k++) {
            corners += !used[v[k]];
            used[v[k]] = true;
            const uint32_t *w = hull->triangle[hull->across[t][k]].v;
            int m = w[0] == v[(k + 1) % 3] ? 0 : w[1] == v[(k + 1) % 3] ? 1 : 2;
            strangers += w[m] != v[(k + 1) % 3] || w[(m + 1) % 3] != v[k] ||
                         hull->across[hull->across[t][k]][m] != t;
        }
        for (size_t p = 0; p < count; p++)
            outside += exact_side(point[v[0]], point[v[1]], point[v[2]], point[p]) < 0;
    }
    ck_assert_uint_eq(outside, 0);
    ck_assert_uint_eq(strangers, 0);
    ck_assert_uint_eq(hull->triangles, 2 * corners - 4); /* Euler, one piece */
    free(used);
}

static double volume(const struct vec *point, const struct hull *hull)
{
    double sum = 0;
    for (size_t t = 0; t < hull->triangles; t++) {
        const uint32_t *v = hull->triangle[t].v;
        sum += vec_dot(point[v[0]], vec_cross(point[v[1]], point[v[2]])) / 6;
    }
    return sum;
}

START_TEST(
    lattice) /* all eight corners, and coplanar and collinear points in every face and edge */
{
    enum { N = 6 };
    struct vec point[N * N * N];
    for (size_t i = 0; i < N * N * N; i++)
        point[i] = vec((double)(i * 7 % (N * N * N) % N), (double)(i * 7 % (N * N * N) / N % N),
                       (double)(i * 7 % (N * N * N) / N / N));
    struct hull hull = hull_now(point, N * N * N);
    expect_hull(point, N * N * N, &hull);
    ck_assert_double_eq_tol(volume(point, &hull), 125, 1e-9);
    hull_release(&hull);
}
END_TEST

/* Few values a coordinate: repeated, collinear and coplanar points everywhere. */
START_TEST(random_lattices)
{
    uint64_t seed = 1;
    int solid = 0;
    for (int i = 0; i < 1500; i++) {
        struct vec point[60];
        size_t count = 1 + (size_t)(shape_random(&seed) * 59);
        double values = 2 + floor(5 * shape_random(&seed)), tilt = i % 2 ? 0.1 : 0;
        for (size_t p = 0; p < count; p++) {
            double x = floor(values * shape_random(&seed)), y = floor(values * shape_random(&seed));
            double z = floor(values * shape_random(&seed));
            point[p] = vec(x + tilt * y, y - tilt * z, z + tilt * tilt * x); /* almost coplanar */
        }
        struct hull hull = hull_now(point, count);
        if (hull.dimension == 3) {
            expect_hull(point, count, &hull);
            solid++;
        } else {
            ck_assert_uint_eq(hull.triangles, 0);
        }
        hull_release(&hull);
    }
    ck_assert_int_gt(solid, 1000);
}
END_TEST

START_TEST(flat_and_smaller)
{
    struct vec point[30];
    static const int dimension[4] = {0, 1, 2, 2};
    for (int d = 0; d < 4; d++) {
        for (int i = 0; i < 30; i++)
            point[i] = vec(1 + (d > 0) * i, 2 + (d > 0) * 2 * i + (d > 1) * (i % 5),
                           3 + (d == 3) * 0.5 * (i % 5));
        struct hull hull = hull_now(point, 30);
        ck_assert_int_eq(hull.dimension, dimension[d]);
        ck_assert_uint_eq(hull.triangles, 0);
        hull_release(&hull);
    }
    struct hull none = hull_now(point, 0);
    ck_assert_int_eq(none.dimension, -1);
}
END_TEST

START_TEST(ball_and_cloud)
{
    struct mesh *ball = shape_sphere(50, 4);
    size_t count = mesh_vertices(ball);
    struct vec *point = malloc(count * sizeof *point);
    for (size_t v = 0; v < count; v++)
        point[v] = point_vec(mesh_point(ball)[v]);
    struct hull hull = hull_now(point, count);
    ck_assert_uint_eq(hull.triangles, mesh_triangles(ball)); /* the ball is its own hull */
    ck_assert_double_eq_tol(volume(point, &hull), shape_count(ball).volume, 1e-6 * 523598);
    expect_hull(point, count, &hull);
    hull_release(&hull);
    uint64_t seed = 4;
    for (size_t v = 0; v < count; v++)
        point[v] = vec(shape_random(&seed), shape_random(&seed), shape_random(&seed));
    hull = hull_now(point, count);
    expect_hull(point, count, &hull);
    hull_release(&hull);
    free(point);
    mesh_free(ball);
}
END_TEST

START_TEST(big_and_cancelled)
{
    uint64_t seed = 5;
    size_t count = 300000;
    struct vec *point = malloc(count * sizeof *point);
    for (size_t v = 0; v < count; v++) /* all on a sphere, so all on the hull */
        point[v] = vec_scale(vec_unit(vec(shape_random(&seed) - 0.5, shape_random(&seed) - 0.5,
                                          shape_random(&seed) - 0.5)),
                             100);
    struct hull hull = hull_now(point, count);
    ck_assert_int_eq(hull.dimension, 3);
    ck_assert_uint_gt(hull.triangles, 2 * count - 4 - 20); /* all but a few that coincide */
    hull_release(&hull);
    struct job job;
    job_init(&job);
    atomic_store(&job.cancel, true);
    ck_assert_int_eq(hull_make(point, count, &hull, &job), STATUS_CANCELLED);
    ck_assert_ptr_null(hull.triangle);
    job_release(&job);
    free(point);
}
END_TEST

Suite *suite_hull(void);

Suite *suite_hull(void)
{
    Suite *suite = suite_create("hull");
    TCase *all = tcase_create("all");
    tcase_set_timeout(all, 60);
    tcase_add_test(all, lattice);
    tcase_add_test(all, random_lattices);
    tcase_add_test(all, flat_and_smaller);
    tcase_add_test(all, ball_and_cloud);
    tcase_add_test(all, big_and_cancelled);
    suite_add_tcase(suite, all);
    return suite;
}
