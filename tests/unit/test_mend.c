/* Mending. What comes out is looked at as a reader of the saved file would (sound.h), its volume
 * counted independently of the library (shapes.h). */
#include <check.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "core/job.h"
#include "core/topology.h"
#include "tests/support/mended.h"
#include "tests/support/shapes.h"
#include "tests/support/sound.h"

static const double pi = 3.14159265358979323846;

static size_t parts_of(const struct mesh *mesh)
{
    struct mesh *joined = sound_joined(mesh);
    size_t count = mesh_components(joined, NULL)->count;
    mesh_free(joined);
    return count;
}

/* Mends, expects a sound result of that volume, and frees. */
static void expect_volume(struct mesh *mesh, double volume, double tolerance, size_t parts)
{
    struct mend_report report;
    struct mesh *out = mended(mesh, &report);
    expect_mended(out, "volume", 0);
    ck_assert_uint_eq(report.left, 0);
    ck_assert_double_eq_tol(shape_count(out).volume, volume, tolerance);
    ck_assert_uint_eq(parts_of(out), parts);
    mesh_free(out);
    mesh_free(mesh);
}

/* --- what is sound stays ---------------------------------------------------------------------- */

START_TEST(sound_stays_itself)
{
    struct mesh *solid[] = {shape_sphere(20, 4), shape_torus(20, 5, 40, 20), shape_box(3, 4, 5, 6)};
    for (size_t i = 0; i < sizeof solid / sizeof *solid; i++) {
        struct mend_report report;
        struct mesh *out = mended(solid[i], &report);
        ck_assert(!report.changed);
        ck_assert_ptr_eq(out, solid[i]);
        mesh_free(out);
        mesh_free(solid[i]);
    }
}
END_TEST

/* Points that no triangle uses go, and are told, also where nothing else is to be mended. */
START_TEST(unused_points_go)
{
    struct mesh *box = shape_box(3, 4, 5, 6), *two = mesh_two(box, shape_sphere(1, 1));
    size_t stray = 0, kept = 12 * 6 * 6;
    ck_assert_uint_lt(kept, mesh_triangles(two));
    struct mesh *wrong = mesh_new(mesh_vertices(two), kept);
    ck_assert_ptr_nonnull(wrong);
    memcpy(mesh_point_edit(wrong), mesh_point(two), mesh_vertices(two) * sizeof(struct point));
    memcpy(mesh_triangle_edit(wrong), mesh_triangle(two), kept * sizeof(struct triangle));
    wrong->joined = true;
    stray = mesh_topology(wrong, NULL)->unused_vertices;
    ck_assert_uint_gt(stray, 0);
    for (int open = 0; open < 2; open++) {
        const struct mend_options options = {.open = open, .shape = FILL_SMOOTH};
        struct mend_report report;
        struct mesh *out = mended_so(wrong, &options, &report, 1, NULL);
        ck_assert(report.changed);
        ck_assert_uint_eq(report.unused, stray);
        ck_assert_uint_eq(report.left, 0);
        ck_assert_uint_eq(mesh_vertices(out), mesh_vertices(wrong) - stray);
        ck_assert_uint_eq(mesh_triangles(out), kept);
        ck_assert_uint_eq(mesh_topology(out, NULL)->unused_vertices, 0);
        mesh_free(out);
    }
    mesh_free(wrong);
    mesh_free(two);
}
END_TEST

/* --- bodies that overlap ---------------------------------------------------------------------- */

/* The lens two balls of radius r at a distance d have in common: pi (4 r + d) (2 r - d)^2 / 12
 * (E. W. Weisstein, MathWorld, "Sphere-Sphere Intersection", equation 20, equal radii). The mesh's
 * spheres are smaller by what the table of inscribed icospheres says (0.0541 % of the volume). */
START_TEST(two_balls)
{
    double r = 50, d = 40;
    double lens = pi * (4 * r + d) * (2 * r - d) * (2 * r - d) / 12, ball = 4 * pi * r * r * r / 3;
    expect_volume(mesh_two(shape_sphere(r, 5), mesh_moved(shape_sphere(r, 5), 40, 0.01, 0.02)),
                  2 * ball - lens, 0.0015 * ball, 1);
}
END_TEST

/* A torus around z crossed by a long box along x: what the box has in common with the ring on
 * either side is counted by slices here, as the integral over y and z of the ring's length along x.
 */
START_TEST(torus_and_box)
{
    double ring = 40, tube = 10, w = 3, common = 0;
    int n = 400;
    for (int i = 0; i < n; i++)
        for (int k = 0; k < n; k++) {
            double y = w * ((2 * i + 1.0) / n - 1), z = w * ((2 * k + 1.0) / n - 1);
            double half = sqrt(tube * tube - z * z), out = ring + half, in = ring - half;
            common +=
                2 * (sqrt(out * out - y * y) - sqrt(in * in - y * y)) * (2 * w / n) * (2 * w / n);
        }
    double volume = 2 * pi * pi * ring * tube * tube + 120 * 4 * w * w - common;
    expect_volume(mesh_two(shape_torus(ring, tube, 400, 160),
                           mesh_moved(shape_box(120, 2 * w, 2 * w, 1), -60, -w, -w)),
                  volume, 0.001 * volume, 1);
}
END_TEST

/* Cubes side by side, apart, in each other, the same twice, corner to corner, edge to edge. */
START_TEST(cubes)
{
    static const struct {
        double at[3], side, volume;
        size_t parts;
    } with[] = {{{5, 5, 5}, 10, 1875, 1},    {{10, 0, 0}, 10, 2000, 1},
                {{10, 5, 5}, 10, 2000, 1},   {{30, 0, 0}, 10, 2000, 2},
                {{2, 2, 2}, 4, 1000, 1},     {{0, 0, 0}, 10, 1000, 1},
                {{10, 10, 10}, 10, 2000, 2}, {{10, 10, 0}, 10, 2000, 2},
                {{10, 10, 3}, 10, 2000, 2},  {{0, 0, 5}, 10, 1500, 1},
                {{0, 0, 0}, 5, 1000, 1},     {{3, 3, 10}, 4, 1064, 1},
                {{3, 3, 6}, 4, 1000, 1},     {{-1, -1, 4}, 12, 12 * 12 * 12 + 400, 1}};
    for (size_t i = 0; i < sizeof with / sizeof *with; i++)
        expect_volume(mesh_two(cube_at(0, 0, 0, 10),
                               cube_at(with[i].at[0], with[i].at[1], with[i].at[2], with[i].side)),
                      with[i].volume, 1e-2, with[i].parts);
}
END_TEST

START_TEST(hollows_stay)
{
    struct mesh *shell = mesh_two(shape_sphere(20, 4), mesh_inside_out(shape_sphere(10, 3)));
    struct mend_report report;
    struct mesh *out = mended(shell, &report);
    ck_assert(!report.changed);
    mesh_free(out);
    struct mesh *stone = mesh_moved(shape_sphere(5, 2), 0, 0, 60), *ball = shape_sphere(20, 4);
    double hollow = shape_count(shell).volume + shape_count(stone).volume;
    double whole = shape_count(ball).volume;
    expect_volume(mesh_two(shell, stone), hollow, 0.1, 3);
    expect_volume(mesh_inside_out(ball), whole, 1e-3, 1);
}
END_TEST

/* A surface with one side only that closes (a Klein bottle, the figure-8 immersion: MathWorld,
 * "Klein Bottle"): inside is what a ray out of crosses it oddly often. */
START_TEST(one_side_only)
{
    enum { N = 60, M = 30 };
    double(*p)[3] = calloc(N * M, sizeof *p);
    uint32_t(*f)[3] = calloc(2 * N * M, sizeof *f);
    for (int i = 0; i < N; i++)
        for (int k = 0; k < M; k++) {
            double u = 2 * pi * i / N, v = 2 * pi * k / M;
            double ring = 20 + 6 * (cos(u / 2) * sin(v) - sin(u / 2) * sin(2 * v));
            p[i * M + k][0] = ring * cos(u);
            p[i * M + k][1] = ring * sin(u);
            p[i * M + k][2] = 6 * (sin(u / 2) * sin(v) + cos(u / 2) * sin(2 * v));
            /* the last ring meets the first turned over: v becomes -v */
            uint32_t a = (uint32_t)(i * M + k), b = (uint32_t)(i * M + (k + 1) % M);
            uint32_t c = (uint32_t)((i + 1) % N * M + (i + 1 < N ? k : (M - k) % M));
            uint32_t d =
                (uint32_t)((i + 1) % N * M + (i + 1 < N ? (k + 1) % M : (2 * M - k - 1) % M));
            memcpy(f[2 * (i * M + k)], (uint32_t[3]){a, c, d}, sizeof *f);
            memcpy(f[2 * (i * M + k) + 1], (uint32_t[3]){a, d, b}, sizeof *f);
        }
    struct mesh *bottle =
        shape_make((const double(*)[3])p, N * M, (const uint32_t(*)[3])f, 2 * N * M);
    ck_assert_uint_eq(shape_count(bottle).boundary, 0);
    struct mend_report report;
    struct mesh *out = mended(bottle, &report);
    expect_mended(out, "bottle", 0);
    ck_assert_double_gt(shape_count(out).volume, 1000);
    mesh_free(out);
    mesh_free(bottle);
    free(p);
    free(f);
}
END_TEST

/* --- faults one by one ------------------------------------------------------------------------ */

START_TEST(fins_and_membranes)
{
    struct mesh *box = shape_box(10, 10, 10, 2);
    const uint32_t again[][3] = {
        {mesh_triangle(box)[3].v[0], mesh_triangle(box)[3].v[1], mesh_triangle(box)[3].v[2]},
        {mesh_triangle(box)[7].v[0], mesh_triangle(box)[7].v[2], mesh_triangle(box)[7].v[1]},
        {mesh_triangle(box)[9].v[0], mesh_triangle(box)[9].v[0], mesh_triangle(box)[9].v[1]},
        {mesh_triangle(box)[3].v[0], mesh_triangle(box)[3].v[1], mesh_triangle(box)[30].v[1]}};
    expect_volume(mesh_with(box, again, 4), 1000, 1e-3, 1);
}
END_TEST

static bool drop_top(const struct mesh *mesh, size_t t)
{
    for (int k = 0; k < 3; k++)
        if (mesh_point(mesh)[mesh_triangle(mesh)[t].v[k]].z < 9.99f)
            return false;
    return true;
}

START_TEST(open_box)
{
    struct mesh *box = shape_box(10, 10, 10, 4), *open = shape_without(box, drop_top);
    struct mend_report report;
    struct mesh *closed =
        mended_so(open, &(struct mend_options){.shape = FILL_FLAT}, &report, 1, NULL);
    expect_mended(closed, "open box", 0);
    ck_assert_uint_eq(report.fill.filled, 1);
    ck_assert_double_eq_tol(shape_count(closed).volume, 1000, 1e-3);
    struct mesh *left = mended_so(open, &(struct mend_options){.open = true}, &report, 1, NULL);
    ck_assert_uint_eq(report.unused, 3 * 3); /* inside the side that was dropped; nothing else */
    ck_assert_uint_eq(mesh_vertices(left), mesh_vertices(open) - 3 * 3);
    ck_assert_uint_eq(mesh_triangles(left), mesh_triangles(open));
    struct mesh *again = mended_so(left, &(struct mend_options){.open = true}, &report, 1, NULL);
    ck_assert(!report.changed);
    mesh_free(again);
    mesh_free(left);
    mesh_free(closed);
    mesh_free(open);
    mesh_free(box);
}
END_TEST

static void expect_refused(struct mesh *mesh, const char *why)
{
    struct mend_report report;
    char message[768];
    struct mesh *out =
        mended_so(mesh, &(struct mend_options){.shape = FILL_SMOOTH}, &report, 1, message);
    ck_assert_ptr_null(out);
    ck_assert_msg(strstr(message, why), "%s", message);
    mesh_free(mesh);
}

START_TEST(what_has_no_inside)
{
    const double p[3][3] = {{0, 0, 0}, {1, 0, 0}, {0, 1, 0}};
    const uint32_t one[1][3] = {{0, 1, 2}}, both[2][3] = {{0, 1, 2}, {0, 2, 1}},
                   line[1][3] = {{0, 1, 1}};
    expect_refused(shape_make(p, 3, NULL, 0), "point cloud");
    expect_refused(shape_make(p, 3, one, 1), "no inside");
    expect_refused(shape_make(p, 3, both, 2), "no inside");
    expect_refused(shape_make(p, 3, line, 1), "no inside");
    expect_refused(shape_patch(10, 5, NULL), "no inside");
    struct mesh *sheet = shape_patch(10, 5, NULL),
                *back = mesh_inside_out(shape_patch(10, 5, NULL));
    expect_refused(mesh_two(sheet, back), "no inside");
}
END_TEST

/* A prism whose first and last side meet but for the sine's last bit. */
START_TEST(seam_that_all_but_closes)
{
    enum { N = 40 };
    double p[2 * N + 4][3] = {{0}};
    uint32_t f[4 * N][3];
    for (uint32_t i = 0; i <= N; i++)
        for (uint32_t k = 0; k < 2; k++) {
            double *at = p[2 * i + k];
            at[0] = 10 * cos(2 * pi * i / N);
            at[1] = 10 * sin(2 * pi * i / N);
            at[2] = k * 20.0;
        }
    p[2 * N + 3][2] = 20;
    for (uint32_t i = 0; i < N; i++) {
        uint32_t a = 2 * i, b = a + 2;
        memcpy(f[4 * i], (uint32_t[3]){a, b, b + 1}, sizeof *f);
        memcpy(f[4 * i + 1], (uint32_t[3]){a, b + 1, a + 1}, sizeof *f);
        memcpy(f[4 * i + 2], (uint32_t[3]){2 * N + 2, b, a}, sizeof *f);
        memcpy(f[4 * i + 3], (uint32_t[3]){2 * N + 3, a + 1, b + 1}, sizeof *f);
    }
    struct mesh *prism =
        shape_make((const double(*)[3])p, 2 * N + 4, (const uint32_t(*)[3])f, 4 * N);
    struct mend_report report;
    struct mesh *out = mended(prism, &report);
    expect_mended(out, "prism", 0);
    ck_assert_uint_eq(report.joined, 2);
    ck_assert_uint_eq(report.fill.filled, 0);
    ck_assert_uint_eq(mesh_triangles(out), 4 * N);
    mesh_free(out);
    mesh_free(prism);
}
END_TEST

/* Each triangle of which no corner is near the other ball is there with its corners' bits, in its
 * order, measured and with its colours; what was cut stays measured, too. */
START_TEST(what_is_not_touched_stays)
{
    struct mesh *ball = shape_sphere(50, 5),
                *all = mesh_two(ball, mesh_moved(shape_sphere(20, 4), 55, 0, 0));
    uint8_t(*colour)[4] = mesh_attribute_new(all, ATTRIBUTE_colour);
    for (size_t v = 0; v < mesh_vertices(all); v++)
        memcpy(colour[v], (uint8_t[4]){(uint8_t)(v % 200), (uint8_t)(v / 200), 20, 255}, 4);
    struct mend_report report;
    struct mesh *out = mended(all, &report);
    expect_mended(out, "coloured", 0);
    ck_assert(!mesh_attribute(out, ATTRIBUTE_origin)); /* nothing is invented: all is measured */
    const uint8_t(*made)[4] = (const uint8_t(*)[4])mesh_attribute(out, ATTRIBUTE_colour);
    size_t from = 0, same = 0;
    for (size_t t = 0; t < mesh_triangles(all); t++) {
        const uint32_t *v = mesh_triangle(all)[t].v;
        struct point p = mesh_point(all)[v[0]];
        if (t >= 20480 || p.x > 20)
            continue;
        for (;; from++) {
            ck_assert_uint_lt(from, mesh_triangles(out));
            const uint32_t *w = mesh_triangle(out)[from].v;
            if (memcmp(&mesh_point(out)[w[0]], &mesh_point(all)[v[0]], sizeof p) == 0 &&
                memcmp(&mesh_point(out)[w[1]], &mesh_point(all)[v[1]], sizeof p) == 0 &&
                memcmp(&mesh_point(out)[w[2]], &mesh_point(all)[v[2]], sizeof p) == 0)
                break;
        }
        ck_assert_mem_eq(made[mesh_triangle(out)[from].v[1]], colour[v[1]], 4);
        same++;
    }
    ck_assert_uint_gt(same, 10000);
    mesh_free(out);
    mesh_free(all);
}
END_TEST

static bool drop_cap(const struct mesh *mesh, size_t t)
{
    return mesh_point(mesh)[mesh_triangle(mesh)[t].v[0]].z > 15;
}

/* A ball's scan with a hole, in which some vertices went over their neighbours. */
static struct mesh *folded_scan(void)
{
    struct mesh *ball = shape_sphere(20, 5), *scan = shape_without(ball, drop_cap);
    mesh_free(ball);
    for (size_t v = 100; v < 10000; v += 700) {
        struct point *p = &mesh_point_edit(scan)[v];
        struct vec at = point_vec(*p), aside = vec_unit(vec_cross(at, vec(0.3, 0.5, 0.8)));
        *p = vec_point(vec_scale(vec_unit(vec_along(at, 1.6, aside)), 20));
    }
    return scan;
}

START_TEST(folds_of_a_scan)
{
    struct mesh *scan = folded_scan();
    ck_assert_uint_gt(sound_crossings(scan), 10);
    struct mend_report report;
    struct mesh *out = mended(scan, &report);
    expect_mended(out, "folds", 0);
    ck_assert_uint_gt(report.folds, 10);
    ck_assert_uint_gt(report.fill.filled, 5);
    double ball = shape_count(out).volume;
    ck_assert_msg(ball > 32000 && ball < 33511, "volume %g",
                  ball); /* 4 pi 20^3 / 3, its cap flatter */
    const uint8_t *origin = mesh_attribute(out, ATTRIBUTE_origin);
    size_t measured = 0;
    for (size_t t = 0; t < mesh_triangles(out); t++)
        measured += origin[t] == ORIGIN_MEASURED;
    ck_assert_uint_gt(measured, mesh_triangles(scan) * 9 / 10);
    for (size_t v = 0; v < mesh_vertices(out); v++) /* no more than a few edges off the ball */
        ck_assert_double_gt(vec_length(point_vec(mesh_point(out)[v])), 14);
    mesh_free(out);
    mesh_free(scan);
}
END_TEST

START_TEST(holes_left_open)
{
    struct mesh *scan = folded_scan();
    struct mend_report report;
    const struct mend_options options = {.open = true, .shape = FILL_SMOOTH};
    size_t rim = shape_count(scan).boundary;
    struct mesh *out = mended_so(scan, &options, &report, 1, NULL);
    ck_assert_uint_gt(report.folds, 10);
    ck_assert_uint_eq(report.left, 0);
    ck_assert_uint_eq(sound_crossings(out), 0);
    ck_assert_uint_eq(shape_count(out).boundary, rim);
    mesh_free(out);
    struct mesh *balls = mesh_two(
        shape_sphere(5, 3), mesh_moved(shape_sphere(5, 3), 4, 0, 0)); /* closed ones are united */
    struct mesh *all = mesh_two(scan, mesh_moved(balls, 100, 0, 0));
    out = mended_so(all, &options, &report, 1, NULL);
    ck_assert_uint_eq(sound_crossings(out), 0);
    ck_assert_uint_eq(shape_count(out).boundary, rim);
    ck_assert_uint_eq(parts_of(out), 2);
    mesh_free(out);
    mesh_free(all);
}
END_TEST

START_TEST(same_bytes_for_any_threads)
{
    for (uint64_t i = 0; i < 12; i++) {
        struct mesh *mesh = broken(i);
        struct mend_report report;
        const struct mend_options options = {.shape = FILL_SMOOTH};
        struct mesh *one = mended_so(mesh, &options, &report, 1, NULL);
        struct mesh *two_threads = mended_so(mesh, &options, &report, 2, NULL);
        ck_assert_uint_eq(mesh_triangles(one), mesh_triangles(two_threads));
        ck_assert_mem_eq(mesh_point(one), mesh_point(two_threads), array_bytes(one->point));
        ck_assert_mem_eq(mesh_triangle(one), mesh_triangle(two_threads),
                         array_bytes(one->triangle));
        mesh_free(one);
        mesh_free(two_threads);
        mesh_free(mesh);
    }
}
END_TEST

START_TEST(cancel)
{
    struct mesh *mesh = broken(3), *out = NULL;
    struct mend_report report;
    struct job job;
    job_init(&job);
    job.cancel = true;
    ck_assert_int_eq(mend(mesh, &(struct mend_options){.shape = FILL_SMOOTH}, &out, &report, &job),
                     STATUS_CANCELLED);
    ck_assert_ptr_null(out);
    job_release(&job);
    mesh_free(mesh);
}
END_TEST

Suite *suite_mend(void);
Suite *suite_mend(void)
{
    Suite *suite = suite_create("mend");
    TCase *tests = tcase_create("mend");
    tcase_set_timeout(tests, 120);
    tcase_add_test(tests, sound_stays_itself);
    tcase_add_test(tests, unused_points_go);
    tcase_add_test(tests, two_balls);
    tcase_add_test(tests, torus_and_box);
    tcase_add_test(tests, cubes);
    tcase_add_test(tests, hollows_stay);
    tcase_add_test(tests, fins_and_membranes);
    tcase_add_test(tests, open_box);
    tcase_add_test(tests, what_has_no_inside);
    tcase_add_test(tests, one_side_only);
    tcase_add_test(tests, seam_that_all_but_closes);
    tcase_add_test(tests, what_is_not_touched_stays);
    tcase_add_test(tests, folds_of_a_scan);
    tcase_add_test(tests, holes_left_open);
    tcase_add_test(tests, same_bytes_for_any_threads);
    tcase_add_test(tests, cancel);
    suite_add_tcase(suite, tests);
    return suite;
}
