/* Filling contours: what comes out is compared with the contours by counting edges and adding
 * areas, independently of how the triangles were found. */
#include <check.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "core/contours.h"
#include "core/exact.h"
#include "core/job.h"
#include "tests/support/drawing.h"
#include "tests/support/shapes.h"

/* --- shapes -------------------------------------------------------------------------------- */

START_TEST(triangle_and_square)
{
    struct drawing d = {0};
    drawing_point(&d, 0, 0);
    drawing_point(&d, 4, 0);
    drawing_point(&d, 0, 3);
    drawing_ring(&d, 0);
    drawing_expect_clean(&d, 6, 1);
    drawing_square(&d, -1, -1, 2, false);
    drawing_expect_clean(&d, 4, 1);
}
END_TEST

START_TEST(nested_squares) /* rim, hole, island, hole in the island, ... 20 deep */
{
    struct drawing d = {0};
    double area = 0;
    for (int i = 0; i < 20; i++) {
        double side = 40 - 2 * i;
        drawing_square(&d, i, i, side, i % 2);
        area += i % 2 ? -side * side : side * side;
    }
    drawing_expect_clean(&d, area, 20);
}
END_TEST

START_TEST(many_islands) /* a field of holes, an island in each */
{
    struct drawing d = {0};
    int n = 12;
    drawing_square(&d, 0, 0, 4 * n, false);
    double area = 16.0 * n * n;
    for (int i = 0; i < n; i++)
        for (int j = 0; j < n; j++) {
            drawing_square(&d, 4 * i + 1, 4 * j + 1, 2, true);
            drawing_square(&d, 4 * i + 1.5, 4 * j + 1.5, 1, false);
            area -= 3;
        }
    drawing_expect_clean(&d, area, 1 + 2 * (size_t)(n * n));
}
END_TEST

START_TEST(combs)
{
    struct drawing d = {0};
    int teeth = 500;
    drawing_point(&d, 0, 0);
    drawing_point(&d, 2 * teeth, 0);
    for (int i = teeth - 1; i >= 0; i--) {
        drawing_point(&d, 2 * i + 1, 100);
        drawing_point(&d, 2 * i, 1);
    }
    drawing_ring(&d, 0);
    double area = drawing_area(&d);
    drawing_expect_clean(&d, area, 1);
}
END_TEST

static void draw_spiral(struct drawing *d, int n)
{
    for (int i = 0; i < n; i++)
        drawing_point(d, (1 + 0.02 * i) * cos(0.05 * i), (1 + 0.02 * i) * sin(0.05 * i));
    for (int i = n - 1; i >= 0; i--)
        drawing_point(d, (0.5 + 0.02 * i) * cos(0.05 * i), (0.5 + 0.02 * i) * sin(0.05 * i));
    drawing_ring(d, 0);
}

START_TEST(spirals)
{
    struct drawing d = {0};
    draw_spiral(&d, 2000);
    double area = drawing_area(&d);
    ck_assert_double_gt(area, 0);
    drawing_expect_clean(&d, area, 1);
}
END_TEST

START_TEST(touching_in_points)
{
    struct drawing d = {
        0}; /* a rim that a hole touches in a point, another hole touching the first */
    uint32_t a = drawing_point(&d, 0, 0), b = drawing_point(&d, 10, 0),
             c = drawing_point(&d, 10, 10);
    uint32_t e = drawing_point(&d, 0, 10), m = drawing_point(&d, 5, 0);
    uint32_t rim[] = {a, m, b, c, e};
    for (int k = 0; k < 5; k++)
        drawing_edge(&d, rim[k], rim[(k + 1) % 5]);
    uint32_t p = drawing_point(&d, 7, 3), q = drawing_point(&d, 5, 6), r = drawing_point(&d, 3, 3);
    uint32_t hole[] = {m, r, q, p};
    for (int k = 0; k < 4; k++)
        drawing_edge(&d, hole[k], hole[(k + 1) % 4]);
    uint32_t s = drawing_point(&d, 6, 8), t = drawing_point(&d, 4, 8);
    uint32_t other[] = {q, t, s};
    for (int k = 0; k < 3; k++)
        drawing_edge(&d, other[k], other[(k + 1) % 3]);
    double area = drawing_area(&d);
    drawing_expect_clean(&d, area,
                         1); /* all are one contour, as none encloses a region of its own */
    /* two squares that share a corner, and one inside that touches two sides of a bigger one */
    drawing_square(&d, 0, 0, 1, false);
    uint32_t x = drawing_point(&d, 2, 1), y = drawing_point(&d, 2, 2), z = drawing_point(&d, 1, 2);
    uint32_t second[] = {2, x, y, z};
    for (int k = 0; k < 4; k++)
        drawing_edge(&d, second[k], second[(k + 1) % 4]);
    drawing_expect_clean(&d, 2, 2);
}
END_TEST

START_TEST(slits_inside)
{
    struct drawing d = {0};
    drawing_square(&d, 0, 0, 10, false);
    uint32_t a = drawing_point(&d, 3, 5), b = drawing_point(&d, 5, 5), c = drawing_point(&d, 7, 6);
    uint32_t e = drawing_point(&d, 5, 8);
    const uint32_t free_standing[][2] = {{a, b}, {b, c}, {b, e}}, attached[2] = {0, a};
    for (int k = 0; k < 3; k++) {
        drawing_edge(&d, free_standing[k][0], free_standing[k][1]);
        drawing_edge(&d, free_standing[k][1], free_standing[k][0]);
    }
    struct contours_fill fill = drawing_fill(&d, 1);
    struct verdict v = drawing_judge(&d, &fill);
    ck_assert_uint_eq(v.unmatched + v.unpaired + v.degenerate + v.turned_over, 0);
    contours_release(&fill);
    drawing_edge(&d, attached[0], attached[1]);
    drawing_edge(&d, attached[1], attached[0]);
    drawing_expect_clean(&d, 100, 1);
}
END_TEST

START_TEST(slit_without_region_stays_open)
{
    struct drawing d = {0};
    drawing_square(&d, 0, 0, 1, false);
    uint32_t a = drawing_point(&d, 3, 3), b = drawing_point(&d, 4, 3);
    drawing_edge(&d, a, b);
    drawing_edge(&d, b, a);
    struct contours_fill fill = drawing_fill(&d, 1);
    ck_assert_uint_eq(fill.opens, 2);
    ck_assert_uint_eq(fill.triangles, 2);
    ck_assert_uint_eq(fill.open[0], 4);
    ck_assert_uint_eq(fill.open[1], 5);
    contours_release(&fill);
    drawing_release(&d);
}
END_TEST

START_TEST(open_contours_are_told)
{
    struct drawing d = {0};
    drawing_square(&d, 0, 0, 1, false);
    uint32_t a = drawing_point(&d, 3, 3), b = drawing_point(&d, 4, 3), c = drawing_point(&d, 4, 4);
    drawing_edge(&d, a, b);
    drawing_edge(&d, b, c);
    drawing_edge(&d, c, 2); /* ends at a corner of the square */
    struct contours_fill fill = drawing_fill(&d, 1);
    ck_assert_uint_eq(fill.opens, 3);
    ck_assert_uint_eq(fill.triangles, 2);
    struct verdict v = drawing_judge(&d, &fill);
    ck_assert_uint_eq(v.unmatched + v.unpaired + v.turned_over, 0);
    contours_release(&fill);
    drawing_release(&d);
}
END_TEST

START_TEST(seen_from_behind) /* everything the other way round: clockwise triangles */
{
    struct drawing d = {0};
    drawing_square(&d, 0, 0, 10, true);
    drawing_square(&d, 2, 2, 3, false);
    struct contours_fill fill = drawing_fill(&d, 1);
    struct verdict v = drawing_judge(&d, &fill);
    ck_assert_uint_eq(v.unmatched + v.unpaired + v.degenerate, 0);
    ck_assert_uint_eq(v.turned_over, fill.triangles);
    ck_assert_double_eq_tol(v.area, -91, 1e-9);
    contours_release(&fill);
    drawing_release(&d);
}
END_TEST

START_TEST(overlapping_rims_are_filled_each) /* two solids that overlap: each gets its own cap */
{
    struct drawing d = {0};
    drawing_square(&d, 0, 0, 10, false);
    drawing_square(&d, 3, 3, 4, false);
    drawing_square(&d, 8, 8, 5, false);
    drawing_square(&d, 4, 4, 1, true); /* a hole in the second */
    struct contours_fill fill = drawing_fill(&d, 1);
    struct verdict v = drawing_judge(&d, &fill);
    ck_assert_uint_eq(v.unmatched + v.unpaired + v.degenerate + v.turned_over, 0);
    ck_assert_double_eq_tol(v.area, 100 + 16 + 25 - 1, 1e-9);
    contours_release(&fill);
    drawing_release(&d);
}
END_TEST

/* --- random ones --------------------------------------------------------------------------- */

/* The outline of random cells of a grid: holes, islands, corners that touch, straight runs. */
static double draw_cells(struct drawing *d, int n, double density, bool slits, uint64_t *seed)
{
    bool *cell = calloc((size_t)((n + 2) * (n + 2)), sizeof *cell);
    int w = n + 2;
    double area = 0;
    for (int i = 1; i <= n; i++)
        for (int j = 1; j <= n; j++)
            area += cell[i * w + j] = shape_random(seed) < density;
    for (int i = 0; i <= n; i++)
        for (int j = 0; j <= n; j++)
            drawing_point(d, i, j);
#define AT(i, j) ((uint32_t)((i) * (n + 1) + (j)))
    for (int i = 0; i <= n; i++)
        for (int j = 0; j <= n; j++) { /* the grid edges that leave point (i, j) for +x and +y */
            bool above = cell[(i + 1) * w + j + 1], below = cell[(i + 1) * w + j];
            bool left = cell[i * w + j + 1], slit = slits && shape_random(seed) < 0.2;
            if (i < n && (above != below || (slit && above))) {
                if (above)
                    drawing_edge(d, AT(i, j), AT(i + 1, j));
                if (below)
                    drawing_edge(d, AT(i + 1, j), AT(i, j));
            }
            if (j < n && (above != left || (slit && above))) {
                if (left)
                    drawing_edge(d, AT(i, j), AT(i, j + 1));
                if (above)
                    drawing_edge(d, AT(i, j + 1), AT(i, j));
            }
        }
#undef AT
    free(cell);
    return area;
}

static void random_cells(bool slits, int n, int tries, uint64_t seed)
{
    for (int i = 0; i < tries; i++) {
        struct drawing d = {0};
        double density = 0.1 + 0.85 * shape_random(&seed);
        double area = draw_cells(&d, n, density, slits, &seed);
        struct contours_fill fill = drawing_fill(&d, 1);
        struct verdict v = drawing_judge(&d, &fill);
        ck_assert_uint_eq(fill.opens, 0);
        ck_assert_uint_eq(v.unmatched, 0);
        ck_assert_uint_eq(v.unpaired, 0);
        ck_assert_uint_eq(v.degenerate, 0);
        ck_assert_uint_eq(v.turned_over, 0);
        ck_assert_double_eq(v.area, area);
        if (n < 8)
            ck_assert_uint_eq(drawing_not_delaunay(&d, &fill), 0);
        contours_release(&fill);
        drawing_release(&d);
    }
}

START_TEST(cells)
{
    random_cells(false, 5, 400, 1);
    random_cells(false, 40, 20, 2);
}
END_TEST

START_TEST(cells_with_slits)
{
    random_cells(true, 5, 400, 3);
    random_cells(true, 40, 20, 4);
}
END_TEST

/* A star-shaped polygon about (x, y), points as they would be after rounding to float. */
static void draw_star(struct drawing *d, int n, double x, double y, double radius, double rough,
                      bool hole, uint64_t *seed)
{
    size_t from = d->points;
    for (int i = 0; i < n; i++) {
        double a = 6.283185307179586 * (hole ? n - i : i) / n;
        double r = radius * (1 - rough * shape_random(seed));
        drawing_point(d, (float)(x + r * cos(a)), (float)(y + r * sin(a)));
    }
    drawing_ring(d, from);
}

START_TEST(stars)
{
    uint64_t seed = 5;
    for (int i = 0; i < 200; i++) {
        struct drawing d = {0};
        int n = 8 + (int)(shape_random(&seed) * 100);
        draw_star(&d, n, 3, -7, 50, 0.75, false, &seed); /* 12.5 clear about the middle */
        draw_star(&d, n / 2 + 3, 3, -7, 10, 0.6, true, &seed);
        draw_star(&d, n / 3 + 3, 3, -7, 1.7, 0.3, false, &seed);
        double area = drawing_area(&d);
        drawing_expect_clean(&d, area, 3);
    }
}
END_TEST

/* Whether two closed runs of points, [a, a + n) and [b, b + m), have edges that meet. */
static bool runs_meet(const struct drawing *d, size_t a, size_t n, size_t b, size_t m)
{
    for (size_t i = 0; i < n; i++)
        for (size_t k = 0; k < m; k++) {
            const double *p = d->at[a + i], *q = d->at[a + (i + 1) % n];
            const double *r = d->at[b + k], *s = d->at[b + (k + 1) % m];
            if (exact_turn(p, q, r) * exact_turn(p, q, s) <= 0 &&
                exact_turn(r, s, p) * exact_turn(r, s, q) <= 0)
                return true;
        }
    return false;
}

/* Whether a point lies in the clockwise bar that begins at `bar`. */
static bool in_bar(const struct drawing *d, size_t bar, size_t point)
{
    for (size_t k = 0; k < 4; k++)
        if (exact_turn(d->at[bar + k], d->at[bar + (k + 1) % 4], d->at[point]) > 0)
            return false;
    return true;
}

/* A long thin hole somewhere, in any direction. */
static void draw_bar(struct drawing *d, uint64_t *seed)
{
    double turn = 6.283185307179586 * shape_random(seed), c = cos(turn), s = sin(turn);
    double x = 60 * shape_random(seed) - 30, y = 60 * shape_random(seed) - 30;
    double half = 1 + 20 * shape_random(seed), thick = 0.1 + 2 * shape_random(seed);
    static const int corner[4][2] = {{-1, -1}, {-1, 1}, {1, 1}, {1, -1}};
    for (int k = 0; k < 4; k++) {
        double u = half * corner[k][0], v = thick * corner[k][1];
        drawing_point(d, x + c * u - s * v, y + s * u + c * v);
    }
}

/* A triangle with long thin holes that lie across each other's way to the rim: a hole's nearest
 * corner of the rim may be behind another hole. */
START_TEST(bars_in_a_triangle)
{
    uint64_t seed = 11;
    for (int i = 0; i < 400; i++) {
        struct drawing d = {0};
        double turn = 6.283185307179586 * shape_random(&seed);
        for (int k = 0; k < 3; k++, turn += 1.2 + 1.5 * shape_random(&seed))
            drawing_point(&d, 70 * cos(turn), 70 * sin(turn));
        if (exact_turn(d.at[0], d.at[1], d.at[2]) <= 0) {
            drawing_release(&d);
            continue;
        }
        drawing_ring(&d, 0);
        size_t holes = 0;
        for (int k = 0; k < 30; k++) {
            size_t from = d.points;
            draw_bar(&d, &seed);
            bool apart = !runs_meet(&d, from, 4, 0, 3);
            for (size_t h = 3; h < from && apart; h += 4)
                apart =
                    !runs_meet(&d, from, 4, h, 4) && !in_bar(&d, from, h) && !in_bar(&d, h, from);
            for (int e = 0; e < 3 && apart; e++)
                apart = exact_turn(d.at[e], d.at[(e + 1) % 3], d.at[from]) > 0;
            if (apart) {
                drawing_ring(&d, from);
                holes++;
            } else {
                d.points = from;
            }
        }
        double area = drawing_area(&d);
        drawing_expect_clean(&d, area, holes + 1);
    }
}
END_TEST

START_TEST(
    crossing_contours_still_close) /* neighbours exchanged, points coinciding, rims crossing */
{
    uint64_t seed = 6;
    for (int i = 0; i < 300; i++) {
        struct drawing d = {0};
        int n = 6 + (int)(shape_random(&seed) * 60);
        draw_star(&d, n, 0, 0, 10, 0.3, false, &seed);
        draw_star(&d, n, 9 * shape_random(&seed), 0, 5, 0.3, i % 2, &seed);
        for (size_t k = 0; k + 1 < d.points; k++)
            if (shape_random(&seed) < 0.1) {
                double swap[2] = {d.at[k][0], d.at[k][1]};
                bool coincide = shape_random(&seed) < 0.4;
                memcpy(d.at[k], d.at[k + 1], sizeof swap);
                if (!coincide)
                    memcpy(d.at[k + 1], swap, sizeof swap);
            }
        struct contours_fill fill = drawing_fill(&d, 1);
        struct verdict v = drawing_judge(&d, &fill);
        ck_assert_uint_eq(fill.opens, 0);
        ck_assert_uint_eq(v.unmatched, 0);
        ck_assert_uint_eq(v.unpaired, 0);
        ck_assert_double_eq_tol(v.area, v.contour_area, 1e-9 * v.absolute);
        contours_release(&fill);
        drawing_release(&d);
    }
}
END_TEST

START_TEST(big) /* 100 000 edges and more, thousands of islands; under the time limit of a test */
{
    struct drawing d = {0};
    uint64_t seed = 7;
    draw_star(&d, 100000, 0, 0, 1000, 0.02, false, &seed);
    for (int i = 0; i < 60; i++)
        for (int j = 0; j < 60; j++) {
            draw_star(&d, 20, -600 + 20 * i, -600 + 20 * j, 9, 0.5, true, &seed);
            draw_star(&d, 6, -600 + 20 * i, -600 + 20 * j, 2, 0.5, false, &seed);
        }
    double area = drawing_area(&d);
    struct contours_fill one = drawing_fill(&d, 1), three = drawing_fill(&d, 3);
    struct verdict v = drawing_judge(&d, &one);
    ck_assert_uint_eq(v.unmatched + v.unpaired + v.degenerate + v.turned_over, 0);
    ck_assert_double_eq_tol(v.area, area, 1e-9 * area);
    ck_assert_uint_eq(one.triangles, three.triangles);
    ck_assert_mem_eq(one.triangle, three.triangle, one.triangles * sizeof *one.triangle);
    contours_release(&one);
    contours_release(&three);
    drawing_release(&d);
    draw_spiral(&d, 50000);
    area = drawing_area(&d);
    drawing_expect_clean(&d, area, 1);
}
END_TEST

START_TEST(cancelled)
{
    struct drawing d = {0};
    drawing_square(&d, 0, 0, 1, false);
    struct contours contours = {(const double(*)[2])d.at, d.points, (const uint32_t(*)[2])d.edge,
                                d.edges, 0};
    struct contours_fill fill;
    struct job job;
    job_init(&job);
    atomic_store(&job.cancel, true);
    ck_assert_int_eq(contours_fill(&contours, &fill, &job), STATUS_CANCELLED);
    ck_assert_ptr_null(fill.triangle);
    job_release(&job);
    drawing_release(&d);
}
END_TEST

START_TEST(nothing)
{
    struct drawing d = {0};
    struct contours_fill fill = drawing_fill(&d, 0);
    ck_assert_uint_eq(fill.triangles, 0);
    contours_release(&fill);
}
END_TEST

Suite *suite_contours(void);

Suite *suite_contours(void)
{
    Suite *suite = suite_create("contours");
    TCase *shapes = tcase_create("shapes"), *random = tcase_create("random");
    tcase_add_test(shapes, triangle_and_square);
    tcase_add_test(shapes, nested_squares);
    tcase_add_test(shapes, many_islands);
    tcase_add_test(shapes, combs);
    tcase_add_test(shapes, spirals);
    tcase_add_test(shapes, touching_in_points);
    tcase_add_test(shapes, slits_inside);
    tcase_add_test(shapes, slit_without_region_stays_open);
    tcase_add_test(shapes, open_contours_are_told);
    tcase_add_test(shapes, seen_from_behind);
    tcase_add_test(shapes, overlapping_rims_are_filled_each);
    tcase_add_test(shapes, cancelled);
    tcase_add_test(shapes, nothing);
    tcase_set_timeout(random, 60);
    tcase_add_test(random, cells);
    tcase_add_test(random, cells_with_slits);
    tcase_add_test(random, stars);
    tcase_add_test(random, bars_in_a_triangle);
    tcase_add_test(random, crossing_contours_still_close);
    tcase_add_test(random, big);
    suite_add_tcase(suite, shapes);
    suite_add_tcase(suite, random);
    return suite;
}
