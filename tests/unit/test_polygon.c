/* Triangulating one polygon: the area is kept, the triangles run the right way, n - 2 always. */
#include <check.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "core/polygon.h"
#include "tests/support/shapes.h"

static double area2(const struct vec *p, const uint32_t t[3])
{
    struct vec n = vec_cross(vec_sub(p[t[1]], p[t[0]]), vec_sub(p[t[2]], p[t[0]]));
    return n.z;
}

static double polygon_area2(const struct vec *p, uint32_t n)
{
    double sum = 0;
    for (uint32_t i = 0; i < n; i++) {
        uint32_t j = (i + 1) % n;
        sum += p[i].x * p[j].y - p[j].x * p[i].y;
    }
    return sum;
}

/* Each directed outline edge is used once, each other edge both ways. */
static void check_edges(uint32_t n, uint32_t (*t)[3])
{
    int *used = calloc((size_t)n * n, sizeof *used);
    ck_assert_ptr_nonnull(used);
    for (uint32_t i = 0; i + 2 < n; i++)
        for (int k = 0; k < 3; k++)
            used[t[i][k] * n + t[i][(k + 1) % 3]]++;
    for (uint32_t a = 0; a < n; a++)
        for (uint32_t b = 0; b < n; b++) {
            int outline = (a + 1) % n == b ? 1 : (b + 1) % n == a ? -1 : 0;
            if (used[a * n + b] - used[b * n + a] != outline || used[a * n + b] > 1)
                ck_abort_msg("edge %u %u of %u corners: used %d and %d times", a, b, n,
                             used[a * n + b], used[b * n + a]);
        }
    free(used);
}

/* A simple flat polygon in the plane z = 0, counter-clockwise: also turned into other planes. */
static void check_simple(const struct vec *p, uint32_t n)
{
    uint32_t(*t)[3] = calloc(n, sizeof *t);
    struct vec *turned = calloc(n, sizeof *turned);
    for (int turn = 0; turn < 6; turn++) {
        for (uint32_t i = 0; i < n; i++) {
            struct vec q = p[turn < 3 ? i : n - 1 - i];
            turned[i] = turn % 3 == 0 ? q : turn % 3 == 1 ? vec(q.y, 7, q.x) : vec(-3, q.x, q.y);
        }
        ck_assert_int_eq(polygon_triangulate(turned, n, t, NULL), STATUS_OK);
        check_edges(n, t);
        for (uint32_t i = 0; i < n; i++)
            turned[i] = p[turn < 3 ? i : n - 1 - i];
        double sum = 0, whole = polygon_area2(turned, n);
        for (uint32_t i = 0; i + 2 < n; i++) {
            double area = area2(turned, t[i]);
            if (!(area * whole > 0))
                ck_abort_msg("triangle %u of %u has area %g", i, n, area / 2);
            sum += area;
        }
        ck_assert_double_eq_tol(sum, whole, 1e-9 * fabs(whole));
    }
    free(turned);
    free(t);
}

START_TEST(small_shapes)
{
    const struct vec arrow[] = {{0, 0, 0}, {2, 1, 0}, {0, 2, 0}, {0.5, 1, 0}};
    const struct vec dart[] = {{0.5, 1, 0}, {0, 0, 0}, {2, 1, 0}, {0, 2, 0}};
    const struct vec cross[] = {{1, 0, 0}, {2, 0, 0}, {2, 1, 0}, {3, 1, 0}, {3, 2, 0}, {2, 2, 0},
                                {2, 3, 0}, {1, 3, 0}, {1, 2, 0}, {0, 2, 0}, {0, 1, 0}, {1, 1, 0}};
    const struct vec on_edge[] = {{0, 0, 0}, {1, 0, 0}, {2, 0, 0}, {1, 2, 0}};
    /* A square with a square hole, joined by a bridge: two corners appear twice. */
    const struct vec bridge[] = {{0, 0, 0}, {4, 0, 0}, {4, 4, 0}, {0, 4, 0}, {0, 0, 0},
                                 {1, 1, 0}, {1, 3, 0}, {3, 3, 0}, {3, 1, 0}, {1, 1, 0}};
    check_simple(arrow, 4);
    check_simple(dart, 4);
    check_simple(cross, 12);
    check_simple(on_edge, 4);
    check_simple(bridge, 10);
}
END_TEST

/* Combs, spirals and stars of growing size. */
START_TEST(concave_families)
{
    for (uint32_t n = 8; n <= 600; n += 74) {
        struct vec *p = calloc(n, sizeof *p);
        for (uint32_t i = 0; i < n; i++) { /* star */
            double r = i % 2 ? 1 : 0.1, a = 2 * 3.14159265358979 * i / n;
            p[i] = vec(r * cos(a), r * sin(a), 0);
        }
        check_simple(p, n);
        for (uint32_t i = 0; i < n; i++) /* comb */
            p[i] = i == 0       ? vec(0, -1, 0)
                   : i == n - 1 ? vec(n + 1, -1, 0)
                                : vec(n - i, i % 2 * 9, 0);
        p[0] = vec(n + 1, -1, 0);
        p[n - 1] = vec(0, -1, 0);
        check_simple(p, n);
        for (uint32_t i = 0; i < n / 2; i++) { /* spiral */
            double a = 0.3 * i, r = 1 + a;
            p[i] = vec(r * cos(a), r * sin(a), 0);
            p[n - 1 - i] = vec((r - 0.7) * cos(a), (r - 0.7) * sin(a), 0);
        }
        check_simple(p, n / 2 * 2);
        free(p);
    }
}
END_TEST

/* Crossing, repeated, collinear, huge and hostile corners: always n - 2 triangles of all corners.
 */
START_TEST(any_input)
{
    uint64_t state = 17;
    enum { MOST = 1000 };
    static struct vec p[MOST];
    static uint32_t t[MOST][3];
    for (uint32_t n = 3; n <= MOST; n = n * 2 + 1)
        for (int kind = 0; kind < 5; kind++) {
            for (uint32_t i = 0; i < n; i++) {
                double x = shape_random(&state), y = shape_random(&state), z = shape_random(&state);
                p[i] = kind == 0   ? vec(x, y, z)
                       : kind == 1 ? vec(floor(3 * x), floor(3 * y), 0)
                       : kind == 2 ? vec(x, 2 * x, 0)
                       : kind == 3 ? vec(0, 0, 0)
                                   : vec(1e30 * x, -1e30 * y, 1e-30 * z);
            }
            memset(t, 255, sizeof t);
            ck_assert_int_eq(polygon_triangulate(p, n, t, NULL), STATUS_OK);
            static bool seen[MOST];
            memset(seen, 0, sizeof seen);
            for (uint32_t i = 0; i + 2 < n; i++)
                for (int k = 0; k < 3; k++) {
                    if (t[i][k] >= n)
                        ck_abort_msg("corner %u of %u", t[i][k], n);
                    seen[t[i][k]] = true;
                }
            for (uint32_t i = 0; i < n; i++)
                if (!seen[i])
                    ck_abort_msg("corner %u of %u is not used", i, n);
            ck_assert_uint_eq(t[n - 2][0], UINT32_MAX);
        }
}
END_TEST

/* A hundred thousand corners, most of them not convex, in a time far from quadratic. */
START_TEST(large)
{
    enum { N = 100000 };
    struct vec *p = calloc(N, sizeof *p);
    uint32_t(*t)[3] = calloc(N, sizeof *t);
    for (uint32_t i = 0; i < N; i++) {
        double a = 2 * 3.14159265358979 * i / N, r = 100 + (i % 2 ? 0.002 : 0) + sin(40 * a);
        p[i] = vec(r * cos(a), r * sin(a), 0);
    }
    ck_assert_int_eq(polygon_triangulate(p, N, t, NULL), STATUS_OK);
    double sum = 0;
    for (uint32_t i = 0; i + 2 < N; i++) {
        if (!(area2(p, t[i]) > 0))
            ck_abort_msg("triangle %u has no area", i);
        sum += area2(p, t[i]);
    }
    ck_assert_double_eq_tol(sum, polygon_area2(p, N), 1e-9 * sum);
    free(p);
    free(t);
}
END_TEST

Suite *suite_polygon(void);
Suite *suite_polygon(void)
{
    Suite *suite = suite_create("polygon");
    TCase *all = tcase_create("polygon");
    tcase_add_test(all, small_shapes);
    tcase_add_test(all, concave_families);
    tcase_add_test(all, any_input);
    tcase_add_test(all, large);
    tcase_set_timeout(all, 60);
    suite_add_tcase(suite, all);
    return suite;
}
