/* Filling contours: what comes out is compared with the contours by counting edges and adding
 * areas, independently of how the triangles were found. */
#include <check.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "core/contours.h"
#include "core/exact.h"
#include "core/job.h"
#include "tests/support/shapes.h"

struct drawing { /* contours in the making */
    double (*at)[2];
    size_t points, point_room;
    uint32_t (*edge)[2];
    size_t edges, edge_room;
};

static uint32_t add_point(struct drawing *d, double x, double y)
{
    if (d->points == d->point_room) {
        d->point_room = 2 * d->point_room + 16;
        d->at = realloc(d->at, d->point_room * sizeof *d->at);
    }
    d->at[d->points][0] = x;
    d->at[d->points][1] = y;
    return (uint32_t)d->points++;
}

static void add_edge(struct drawing *d, uint32_t a, uint32_t b)
{
    if (d->edges == d->edge_room) {
        d->edge_room = 2 * d->edge_room + 16;
        d->edge = realloc(d->edge, d->edge_room * sizeof *d->edge);
    }
    d->edge[d->edges][0] = a;
    d->edge[d->edges++][1] = b;
}

/* Joins the points from `from` on into one closed contour. */
static void close_ring(struct drawing *d, size_t from)
{
    for (size_t i = from; i < d->points; i++)
        add_edge(d, (uint32_t)i, (uint32_t)(i + 1 < d->points ? i + 1 : from));
}

static void add_square(struct drawing *d, double x, double y, double side, bool hole)
{
    size_t from = d->points;
    static const int corner[4][2] = {{0, 0}, {1, 0}, {1, 1}, {0, 1}};
    for (int k = 0; k < 4; k++) {
        const int *c = corner[hole ? 3 - k : k];
        add_point(d, x + side * c[0], y + side * c[1]);
    }
    close_ring(d, from);
}

static void drawing_release(struct drawing *d)
{
    free(d->at);
    free(d->edge);
    *d = (struct drawing){0};
}

/* --- judging ------------------------------------------------------------------------------- */

struct side { /* lower end first; +1 or -1 by direction; `given`: from the contours */
    uint32_t a, b;
    int way;
    bool given;
};

static int side_order(const void *x, const void *y)
{
    const struct side *p = x, *q = y;
    if (p->a != q->a)
        return p->a < q->a ? -1 : 1;
    return p->b < q->b ? -1 : p->b > q->b;
}

static struct side side(uint32_t a, uint32_t b, bool given)
{
    return a < b ? (struct side){a, b, 1, given} : (struct side){b, a, -1, given};
}

struct verdict {
    size_t unmatched; /* contour edges that are not a side once for each time they were given */
    size_t unpaired;  /* inner edges that do not have one triangle on each side */
    size_t degenerate, turned_over;
    double area, contour_area, absolute;
};

static void judge_sides(struct side *sides, size_t count, struct verdict *v)
{
    qsort(sides, count, sizeof *sides, side_order);
    for (size_t i = 0, j; i < count; i = j) {
        long given[2] = {0, 0}, made[2] = {0, 0};
        for (j = i; j < count && sides[j].a == sides[i].a && sides[j].b == sides[i].b; j++)
            *(sides[j].given ? &given[sides[j].way > 0] : &made[sides[j].way > 0]) += 1;
        if (given[0] + given[1] > 0)
            v->unmatched += given[0] != made[0] || given[1] != made[1];
        else
            v->unpaired += made[0] != 1 || made[1] != 1;
    }
}

static double cross(const double a[2], const double b[2], const double c[2])
{
    return (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0]);
}

/* Compares the triangles with the contours, those left open not counted. */
static struct verdict judge(const struct drawing *d, const struct contours_fill *fill)
{
    struct verdict v = {0};
    struct side *sides = malloc((d->edges + 3 * fill->triangles + 1) * sizeof *sides);
    size_t count = 0, open = 0;
    for (size_t e = 0; e < d->edges; e++) {
        if (open < fill->opens && fill->open[open] == e) {
            open++;
            continue;
        }
        sides[count++] = side(d->edge[e][0], d->edge[e][1], true);
        v.contour_area += cross(d->at[0], d->at[d->edge[e][0]], d->at[d->edge[e][1]]) / 2;
    }
    for (size_t t = 0; t < fill->triangles; t++) {
        const uint32_t *p = fill->triangle[t].v;
        for (int k = 0; k < 3; k++)
            sides[count++] = side(p[k], p[(k + 1) % 3], false);
        double area = cross(d->at[p[0]], d->at[p[1]], d->at[p[2]]) / 2;
        int turn = exact_turn(d->at[p[0]], d->at[p[1]], d->at[p[2]]);
        v.degenerate += turn == 0;
        v.turned_over += turn < 0;
        v.area += area;
        v.absolute += fabs(area);
    }
    judge_sides(sides, count, &v);
    free(sides);
    return v;
}

static struct contours_fill fill_now(const struct drawing *d, int threads)
{
    struct job job;
    job_init(&job);
    job.threads = threads;
    struct contours contours = {(const double(*)[2])d->at, d->points, (const uint32_t(*)[2])d->edge,
                                d->edges, 0};
    struct contours_fill fill;
    ck_assert_int_eq(contours_fill(&contours, &fill, &job), STATUS_OK);
    job_release(&job);
    return fill;
}

static double contour_area(const struct drawing *d)
{
    double area = 0;
    for (size_t e = 0; e < d->edges; e++)
        area += cross(d->at[0], d->at[d->edge[e][0]], d->at[d->edge[e][1]]) / 2;
    return area;
}

/* Whether every inner edge is Delaunay: checked on all pairs of triangles that share one. */
static size_t not_delaunay(const struct drawing *d, const struct contours_fill *fill)
{
    size_t bad = 0;
    for (size_t t = 0; t < fill->triangles; t++)
        for (size_t u = 0; u < fill->triangles; u++)
            for (int k = 0; k < 3; k++)
                for (int m = 0; m < 3; m++) {
                    const uint32_t *p = fill->triangle[t].v, *q = fill->triangle[u].v;
                    if (p[k] != q[(m + 1) % 3] || p[(k + 1) % 3] != q[m])
                        continue;
                    bool contour = false;
                    for (size_t e = 0; e < d->edges; e++)
                        contour |= (d->edge[e][0] == p[k] && d->edge[e][1] == q[m]) ||
                                   (d->edge[e][1] == p[k] && d->edge[e][0] == q[m]);
                    bad += !contour && exact_circle(d->at[p[0]], d->at[p[1]], d->at[p[2]],
                                                    d->at[q[(m + 2) % 3]]) > 0;
                }
    return bad;
}

/* The whole promise for contours that do not cross. */
static void expect_clean(struct drawing *d, double area, size_t loops)
{
    struct contours_fill fill = fill_now(d, 1);
    struct verdict v = judge(d, &fill);
    ck_assert_uint_eq(fill.opens, 0);
    ck_assert_uint_eq(fill.loops, loops);
    ck_assert_uint_eq(v.unmatched, 0);
    ck_assert_uint_eq(v.unpaired, 0);
    ck_assert_uint_eq(v.degenerate, 0);
    ck_assert_uint_eq(v.turned_over, 0);
    ck_assert_double_eq_tol(v.area, area, 1e-9 * area);
    contours_release(&fill);
    drawing_release(d);
}

/* --- shapes -------------------------------------------------------------------------------- */

START_TEST(triangle_and_square)
{
    struct drawing d = {0};
    add_point(&d, 0, 0);
    add_point(&d, 4, 0);
    add_point(&d, 0, 3);
    close_ring(&d, 0);
    expect_clean(&d, 6, 1);
    add_square(&d, -1, -1, 2, false);
    expect_clean(&d, 4, 1);
}
END_TEST

START_TEST(nested_squares) /* rim, hole, island, hole in the island, ... 20 deep */
{
    struct drawing d = {0};
    double area = 0;
    for (int i = 0; i < 20; i++) {
        double side = 40 - 2 * i;
        add_square(&d, i, i, side, i % 2);
        area += i % 2 ? -side * side : side * side;
    }
    expect_clean(&d, area, 20);
}
END_TEST

START_TEST(many_islands) /* a field of holes, an island in each */
{
    struct drawing d = {0};
    int n = 12;
    add_square(&d, 0, 0, 4 * n, false);
    double area = 16.0 * n * n;
    for (int i = 0; i < n; i++)
        for (int j = 0; j < n; j++) {
            add_square(&d, 4 * i + 1, 4 * j + 1, 2, true);
            add_square(&d, 4 * i + 1.5, 4 * j + 1.5, 1, false);
            area -= 3;
        }
    expect_clean(&d, area, 1 + 2 * (size_t)(n * n));
}
END_TEST

START_TEST(combs)
{
    struct drawing d = {0};
    int teeth = 500;
    add_point(&d, 0, 0);
    add_point(&d, 2 * teeth, 0);
    for (int i = teeth - 1; i >= 0; i--) {
        add_point(&d, 2 * i + 1, 100);
        add_point(&d, 2 * i, 1);
    }
    close_ring(&d, 0);
    double area = contour_area(&d);
    expect_clean(&d, area, 1);
}
END_TEST

static void draw_spiral(struct drawing *d, int n)
{
    for (int i = 0; i < n; i++)
        add_point(d, (1 + 0.02 * i) * cos(0.05 * i), (1 + 0.02 * i) * sin(0.05 * i));
    for (int i = n - 1; i >= 0; i--)
        add_point(d, (0.5 + 0.02 * i) * cos(0.05 * i), (0.5 + 0.02 * i) * sin(0.05 * i));
    close_ring(d, 0);
}

START_TEST(spirals)
{
    struct drawing d = {0};
    draw_spiral(&d, 2000);
    double area = contour_area(&d);
    ck_assert_double_gt(area, 0);
    expect_clean(&d, area, 1);
}
END_TEST

START_TEST(touching_in_points)
{
    struct drawing d = {
        0}; /* a rim that a hole touches in a point, another hole touching the first */
    uint32_t a = add_point(&d, 0, 0), b = add_point(&d, 10, 0), c = add_point(&d, 10, 10);
    uint32_t e = add_point(&d, 0, 10), m = add_point(&d, 5, 0);
    uint32_t rim[] = {a, m, b, c, e};
    for (int k = 0; k < 5; k++)
        add_edge(&d, rim[k], rim[(k + 1) % 5]);
    uint32_t p = add_point(&d, 7, 3), q = add_point(&d, 5, 6), r = add_point(&d, 3, 3);
    uint32_t hole[] = {m, r, q, p};
    for (int k = 0; k < 4; k++)
        add_edge(&d, hole[k], hole[(k + 1) % 4]);
    uint32_t s = add_point(&d, 6, 8), t = add_point(&d, 4, 8);
    uint32_t other[] = {q, t, s};
    for (int k = 0; k < 3; k++)
        add_edge(&d, other[k], other[(k + 1) % 3]);
    double area = contour_area(&d);
    expect_clean(&d, area, 1); /* all are one contour, as none encloses a region of its own */
    /* two squares that share a corner, and one inside that touches two sides of a bigger one */
    add_square(&d, 0, 0, 1, false);
    uint32_t x = add_point(&d, 2, 1), y = add_point(&d, 2, 2), z = add_point(&d, 1, 2);
    uint32_t second[] = {2, x, y, z};
    for (int k = 0; k < 4; k++)
        add_edge(&d, second[k], second[(k + 1) % 4]);
    expect_clean(&d, 2, 2);
}
END_TEST

START_TEST(slits_inside)
{
    struct drawing d = {0};
    add_square(&d, 0, 0, 10, false);
    uint32_t a = add_point(&d, 3, 5), b = add_point(&d, 5, 5), c = add_point(&d, 7, 6);
    uint32_t e = add_point(&d, 5, 8);
    const uint32_t free_standing[][2] = {{a, b}, {b, c}, {b, e}}, attached[2] = {0, a};
    for (int k = 0; k < 3; k++) {
        add_edge(&d, free_standing[k][0], free_standing[k][1]);
        add_edge(&d, free_standing[k][1], free_standing[k][0]);
    }
    struct contours_fill fill = fill_now(&d, 1);
    struct verdict v = judge(&d, &fill);
    ck_assert_uint_eq(v.unmatched + v.unpaired + v.degenerate + v.turned_over, 0);
    contours_release(&fill);
    add_edge(&d, attached[0], attached[1]);
    add_edge(&d, attached[1], attached[0]);
    expect_clean(&d, 100, 1);
}
END_TEST

START_TEST(slit_without_region_stays_open)
{
    struct drawing d = {0};
    add_square(&d, 0, 0, 1, false);
    uint32_t a = add_point(&d, 3, 3), b = add_point(&d, 4, 3);
    add_edge(&d, a, b);
    add_edge(&d, b, a);
    struct contours_fill fill = fill_now(&d, 1);
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
    add_square(&d, 0, 0, 1, false);
    uint32_t a = add_point(&d, 3, 3), b = add_point(&d, 4, 3), c = add_point(&d, 4, 4);
    add_edge(&d, a, b);
    add_edge(&d, b, c);
    add_edge(&d, c, 2); /* ends at a corner of the square */
    struct contours_fill fill = fill_now(&d, 1);
    ck_assert_uint_eq(fill.opens, 3);
    ck_assert_uint_eq(fill.triangles, 2);
    struct verdict v = judge(&d, &fill);
    ck_assert_uint_eq(v.unmatched + v.unpaired + v.turned_over, 0);
    contours_release(&fill);
    drawing_release(&d);
}
END_TEST

START_TEST(seen_from_behind) /* everything the other way round: clockwise triangles */
{
    struct drawing d = {0};
    add_square(&d, 0, 0, 10, true);
    add_square(&d, 2, 2, 3, false);
    struct contours_fill fill = fill_now(&d, 1);
    struct verdict v = judge(&d, &fill);
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
    add_square(&d, 0, 0, 10, false);
    add_square(&d, 3, 3, 4, false);
    add_square(&d, 8, 8, 5, false);
    add_square(&d, 4, 4, 1, true); /* a hole in the second */
    struct contours_fill fill = fill_now(&d, 1);
    struct verdict v = judge(&d, &fill);
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
            add_point(d, i, j);
#define AT(i, j) ((uint32_t)((i) * (n + 1) + (j)))
    for (int i = 0; i <= n; i++)
        for (int j = 0; j <= n; j++) { /* the grid edges that leave point (i, j) for +x and +y */
            bool above = cell[(i + 1) * w + j + 1], below = cell[(i + 1) * w + j];
            bool left = cell[i * w + j + 1], slit = slits && shape_random(seed) < 0.2;
            if (i < n && (above != below || (slit && above))) {
                if (above)
                    add_edge(d, AT(i, j), AT(i + 1, j));
                if (below)
                    add_edge(d, AT(i + 1, j), AT(i, j));
            }
            if (j < n && (above != left || (slit && above))) {
                if (left)
                    add_edge(d, AT(i, j), AT(i, j + 1));
                if (above)
                    add_edge(d, AT(i, j + 1), AT(i, j));
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
        struct contours_fill fill = fill_now(&d, 1);
        struct verdict v = judge(&d, &fill);
        ck_assert_uint_eq(fill.opens, 0);
        ck_assert_uint_eq(v.unmatched, 0);
        ck_assert_uint_eq(v.unpaired, 0);
        ck_assert_uint_eq(v.degenerate, 0);
        ck_assert_uint_eq(v.turned_over, 0);
        ck_assert_double_eq(v.area, area);
        if (n < 8)
            ck_assert_uint_eq(not_delaunay(&d, &fill), 0);
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
        add_point(d, (float)(x + r * cos(a)), (float)(y + r * sin(a)));
    }
    close_ring(d, from);
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
        double area = contour_area(&d);
        expect_clean(&d, area, 3);
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
        struct contours_fill fill = fill_now(&d, 1);
        struct verdict v = judge(&d, &fill);
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
    double area = contour_area(&d);
    struct contours_fill one = fill_now(&d, 1), three = fill_now(&d, 3);
    struct verdict v = judge(&d, &one);
    ck_assert_uint_eq(v.unmatched + v.unpaired + v.degenerate + v.turned_over, 0);
    ck_assert_double_eq_tol(v.area, area, 1e-9 * area);
    ck_assert_uint_eq(one.triangles, three.triangles);
    ck_assert_mem_eq(one.triangle, three.triangle, one.triangles * sizeof *one.triangle);
    contours_release(&one);
    contours_release(&three);
    drawing_release(&d);
    draw_spiral(&d, 50000);
    area = contour_area(&d);
    expect_clean(&d, area, 1);
}
END_TEST

START_TEST(cancelled)
{
    struct drawing d = {0};
    add_square(&d, 0, 0, 1, false);
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
    struct contours_fill fill = fill_now(&d, 0);
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
    tcase_add_test(random, crossing_contours_still_close);
    tcase_add_test(random, big);
    suite_add_tcase(suite, shapes);
    suite_add_tcase(suite, random);
    return suite;
}
