/* Standing on the floor. */
#include <check.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "core/job.h"
#include "core/topology.h"
#include "solid/stand.h"
#include "tests/support/shapes.h"
#include "tests/support/steps.h"

static struct mesh *stand_now(const struct mesh *mesh, const struct vec *on,
                              struct stand_report *report)
{
    struct job job;
    job_init(&job);
    job.threads = 1;
    struct motion motion;
    ck_assert_msg(stand_find(&mesh, 1, on, &motion, report, &job) == STATUS_OK, "%s", job.message);
    struct mesh *out = motion_mesh(&motion, mesh, &job);
    ck_assert_ptr_nonnull(out);
    job_release(&job);
    return out;
}

static struct mesh *tumbled(struct mesh *mesh, uint64_t *seed)
{
    struct vec axis =
        vec_unit(vec(shape_random(seed) - 0.5, shape_random(seed) - 0.5, shape_random(seed)));
    struct motion turn = motion_turn(axis, 6 * shape_random(seed), vec(3, 4, 5));
    struct motion shift = motion_shift(vec(100, -50, 70)), both = motion_then(&turn, &shift);
    struct mesh *out = motion_mesh(&both, mesh, NULL);
    mesh_free(mesh);
    return out;
}

static void expect_box(const struct mesh *mesh, double x, double y, double z)
{
    const struct bounds *b = mesh_bounds(mesh, NULL);
    ck_assert_double_eq_tol(b->size.z, z, 1e-4);
    ck_assert_double_eq_tol(b->min.z, 0, 1e-5);
    ck_assert_double_eq_tol(b->centre.x, 0, 1e-4);
    ck_assert_double_eq_tol(b->centre.y, 0, 1e-4);
    if (x > 0) /* else: turned about z anyhow */
        ck_assert_double_eq_tol(b->size.x, x, 1e-4);
    if (y > 0)
        ck_assert_double_eq_tol(b->size.y, y, 1e-4);
}

START_TEST(a_box_lies_on_its_largest_side)
{
    uint64_t seed = 1;
    for (int i = 0; i < 20; i++) {
        struct mesh *box = tumbled(shape_box(30, 20, 10, 3), &seed);
        struct stand_report report;
        struct mesh *out = stand_now(box, NULL, &report);
        expect_box(out, 0, 0, 10);
        ck_assert_int_eq(report.of, MASS_SOLID);
        ck_assert_double_eq_tol(report.area, 600, 1e-2);
        ck_assert_double_eq_tol(report.height, 5, 1e-4);
        ck_assert_double_eq_tol(report.tilt, atan2(10, 5) * 180 / acos(-1), 1e-3);
        mesh_free(out);
        mesh_free(box);
    }
}
END_TEST

START_TEST(standing_already)
{
    struct mesh *cube = shape_box(10, 10, 10, 1);
    struct stand_report report;
    struct mesh *out = stand_now(cube, NULL, &report);
    for (size_t v = 0; v < mesh_vertices(cube); v++) { /* shifted only */
        struct vec d = vec_sub(point_vec(mesh_point(out)[v]), point_vec(mesh_point(cube)[v]));
        ck_assert_double_eq_tol(d.x, -5, 1e-6);
        ck_assert_double_eq_tol(d.z, 0, 1e-6);
    }
    mesh_free(out);
    mesh_free(cube);
}
END_TEST

START_TEST(on_a_picked_side)
{
    struct mesh *box = shape_box(30, 20, 10, 3);
    struct stand_report report;
    struct vec on[4] = {vec(30, 7, 3), vec(0, 11, 4), vec(13, 20.5, 3), vec(15, 10, 1e6)};
    const double size[4][3] = {{10, 20, 30}, {10, 20, 30}, {30, 10, 20}, {30, 20, 10}};
    for (int i = 0; i < 4; i++) {
        struct mesh *out = stand_now(box, &on[i], &report);
        expect_box(out, size[i][0], size[i][1], size[i][2]);
        ck_assert_double_eq_tol(report.height, size[i][2] / 2, 1e-4);
        mesh_free(out);
    }
    mesh_free(box);
}
END_TEST

/* A cone: its centre of mass is a quarter up, and on its side it lies lower than that or not. */
static struct mesh *cone(double radius, double height)
{
    enum { N = 64 };
    double point[N + 2][3] = {{0, 0, 0}, {0, 0, height}};
    uint32_t face[2 * N][3];
    for (uint32_t i = 0; i < N; i++) {
        double a = 2 * acos(-1) * i / N;
        memcpy(point[i + 2], (double[3]){radius * cos(a), radius * sin(a), 0}, sizeof *point);
        uint32_t j = (i + 1) % N;
        memcpy(face[2 * i], (uint32_t[3]){i + 2, j + 2, 1}, sizeof *face);
        memcpy(face[2 * i + 1], (uint32_t[3]){j + 2, i + 2, 0}, sizeof *face);
    }
    return shape_make((const double(*)[3])point, N + 2, (const uint32_t(*)[3])face, 2 * N);
}

START_TEST(cones)
{
    struct mesh *wide = cone(10, 10), *tall = cone(10, 60);
    struct stand_report report;
    struct mesh *out = stand_now(wide, NULL, &report);
    expect_box(out, 20, 20, 10); /* on its base: 2.5 up; on its side 0.75 * 10 * sin 45 = 5.3 */
    ck_assert_double_eq_tol(report.height, 2.5, 1e-3);
    mesh_free(out);
    out = stand_now(tall, NULL, &report); /* base: 15; side: 45 * 10 / sqrt(3700) = 7.4 */
    ck_assert_double_eq_tol(report.height, 45 * 10 / sqrt(3700), 0.05);
    ck_assert_double_gt(report.tilt, 0);
    mesh_free(out);
    struct vec tip = vec(0, 0, 1000);
    out = stand_now(tall, &tip, &report); /* the side by the tip: all sides face it alike */
    ck_assert_double_gt(report.area, 0);
    mesh_free(out);
    mesh_free(wide);
    mesh_free(tall);
}
END_TEST

static struct mesh *stands_by(const struct mesh *mesh, enum stand_by by,
                              struct stand_report *report)
{
    struct motion motion;
    ck_assert_int_eq(stand_find_by(&mesh, 1, by, 45, &motion, report, NULL), STATUS_OK);
    return motion_mesh(&motion, mesh, NULL);
}

static struct mesh *leaning(struct mesh *mesh, double degrees)
{
    struct motion turn = motion_turn(vec(1, 0, 0), degrees * acos(-1) / 180, vec(0, 0, 0));
    struct mesh *out = motion_mesh(&turn, mesh, NULL);
    mesh_free(mesh);
    return out;
}

/* A column of 16 sides that stood more or less upright does so again: lying it may be tilted by
 * half a side only, 11.25 degrees, standing by atan(10 cos 11.25 / 20), 26.1. Its lowest side is
 * where its centre of mass is 9.8 up. */
START_TEST(what_stood_stands)
{
    const double pi = acos(-1), flat = 10 * cos(pi / 16);
    static const double lean[] = {0, 5, 44, 46, 90};
    for (int i = 0; i < 5; i++) {
        struct mesh *mesh = leaning(shape_frustum(10, 10, 40, 16), lean[i]);
        struct stand_report report;
        mesh_free(stands_by(mesh, STAND_AUTO, &report));
        ck_assert_double_eq_tol(report.height, lean[i] < 45 ? 20 : flat, 1e-3);
        ck_assert_double_eq_tol(report.tilt, lean[i] < 45 ? atan2(flat, 20) * 180 / pi : 180.0 / 16,
                                1e-3);
        mesh_free(stands_by(mesh, STAND_LOWEST, &report));
        ck_assert_double_eq_tol(report.height, flat, 1e-3);
        mesh_free(mesh);
    }
}
END_TEST

/* A box on its narrow side is less firm there than on its largest: that is taken, unless the
 * nearest is asked for. Of a ball no side is firm. */
START_TEST(what_is_firmer_lies)
{
    struct mesh *box = leaning(shape_box(30, 20, 10, 1), 80), *ball = shape_sphere(10, 4);
    struct stand_report report;
    struct mesh *out = stands_by(box, STAND_AUTO, &report);
    expect_box(out, 0, 0, 10);
    mesh_free(out);
    ck_assert_double_eq_tol(report.nearest.turn, 10, 1e-3);
    ck_assert_double_eq_tol(report.nearest.tilt, atan2(5, 10) * 180 / acos(-1), 1e-3);
    ck_assert_double_eq_tol(report.lowest.turn, 80, 1e-3);
    out = stands_by(box, STAND_NEAREST, &report);
    expect_box(out, 0, 0, 20);
    mesh_free(out);
    out = stands_by(ball, STAND_NEAREST, &report);
    ck_assert(!report.is_nearest && isinf(report.nearest.turn));
    mesh_free(out);
    mesh_free(box);
    mesh_free(ball);
}
END_TEST

START_TEST(the_other_side_is_told)
{
    struct scene *scene = steps_scene(leaning(shape_frustum(10, 10, 40, 16), 20));
    scene = steps_told(scene, "stand", "tilted 11.2 degrees: by=lowest");
    scene_free(scene);
    scene = steps_scene(leaning(shape_box(30, 20, 10, 1), 80));
    scene = steps_told(scene, "stand", "tilted 26.6 degrees: by=nearest");
    scene_free(scene);
}
END_TEST

/* A bar 20 long with a convex cross-section in x and z; *middle is the x of its centre of mass. */
static struct mesh *bar(const double (*outline)[2], uint32_t n, double *middle)
{
    double(*point)[3] = malloc(2 * n * sizeof *point), area = 0, moment = 0;
    uint32_t(*face)[3] = malloc(4 * n * sizeof *face);
    size_t faces = 0;
    for (uint32_t i = 0; i < n; i++) {
        uint32_t j = (i + 1) % n;
        const double *p = outline[i], *q = outline[j];
        memcpy(point[i], (double[3]){p[0], 0, p[1]}, sizeof *point);
        memcpy(point[n + i], (double[3]){p[0], 20, p[1]}, sizeof *point);
        memcpy(face[faces++], (uint32_t[3]){i, i + n, j + n}, sizeof *face);
        memcpy(face[faces++], (uint32_t[3]){i, j + n, j}, sizeof *face);
        area += p[0] * q[1] - p[1] * q[0];
        moment += (p[0] * q[1] - p[1] * q[0]) * (p[0] + q[0]) / 3;
        if (i < 2)
            continue;
        memcpy(face[faces++], (uint32_t[3]){0, i - 1, i}, sizeof *face);
        memcpy(face[faces++], (uint32_t[3]){n, n + i, n + i - 1}, sizeof *face);
    }
    struct mesh *mesh =
        shape_make((const double(*)[3])point, 2 * n, (const uint32_t(*)[3])face, faces);
    *middle = moment / area;
    free(point);
    free(face);
    return mesh;
}

/* A bar on a keel: its centre of mass is a shade to the right of it. Both sides of the keel carry
 * it equally high as far as one can tell, the left one is larger, but it would tip back to the
 * right. */
START_TEST(of_equal_sides_one_that_bears_it)
{
    double outline[5][2] = {{-50, 0.025}, {0, 0}, {30, 0.015}, {34, 12}, {-10, 12}}, middle = 0;
    struct mesh *mesh = NULL;
    for (int i = 0; i < 50; i++) { /* until the keel is where it should be */
        mesh_free(mesh);
        outline[1][0] = middle - 0.05;
        mesh = bar((const double(*)[2])outline, 5, &middle);
    }
    ck_assert_double_eq_tol(outline[1][0], middle - 0.05, 1e-9);
    struct stand_report report;
    struct mesh *out = stand_now(mesh, NULL, &report);
    ck_assert_int_eq(report.of, MASS_SOLID);
    ck_assert_double_ge(report.tilt, 0);
    ck_assert_double_lt(report.tilt, 1);
    mesh_free(out);
    mesh_free(mesh);
}
END_TEST

START_TEST(rough_foot) /* a scan's flat foot: noise of 0.02 in the vertices of a 40 mm box */
{
    uint64_t seed = 3;
    struct mesh *box = shape_box(40, 30, 60, 30);
    for (size_t v = 0; v < mesh_vertices(box); v++) {
        struct point *p = &mesh_point_edit(box)[v];
        struct vec d = vec(shape_random(&seed), shape_random(&seed), shape_random(&seed));
        *p = vec_point(vec_along(point_vec(*p), 0.02, d));
    }
    box = tumbled(box, &seed);
    struct stand_report report;
    struct mesh *out = stand_now(box, NULL, &report);
    ck_assert_double_eq_tol(mesh_bounds(out, NULL)->size.z, 30, 0.2);
    ck_assert_double_eq_tol(report.height, 15, 0.1);
    ck_assert_double_gt(report.tilt, 0); /* the flat under it has a ragged outline */
    mesh_free(out);
    mesh_free(box);
}
END_TEST

START_TEST(sheets_clouds_and_lines)
{
    struct stand_report report;
    uint64_t seed = 4;
    struct mesh *sheet = tumbled(shape_patch(10, 4, NULL), &seed);
    struct mesh *out = stand_now(sheet, NULL, &report);
    ck_assert_double_eq_tol(mesh_bounds(out, NULL)->size.z, 0, 1e-4);
    ck_assert_int_eq(report.of, MASS_SURFACE);
    mesh_free(out);
    mesh_free(sheet);
    struct mesh *box = tumbled(shape_box(9, 6, 3, 2), &seed),
                *cloud = mesh_new(mesh_vertices(box), 0);
    memcpy(mesh_point_edit(cloud), mesh_point(box), array_bytes(box->point));
    out = stand_now(cloud, NULL, &report);
    expect_box(out, 0, 0, 3);
    mesh_free(out);
    mesh_free(cloud);
    mesh_free(box);
    struct mesh *line = mesh_new(3, 0);
    for (int v = 0; v < 3; v++)
        mesh_point_edit(line)[v] = (struct point){(float)v, (float)(2 * v), 1};
    struct motion motion;
    struct job job;
    job_init(&job);
    ck_assert_int_eq(stand_find((const struct mesh *const *)&line, 1, NULL, &motion, &report, &job),
                     STATUS_REFUSED);
    job_release(&job);
    mesh_free(line);
}
END_TEST

START_TEST(several_pieces_stand_together)
{
    struct mesh *part[2] = {shape_box(10, 10, 10, 2), shape_box(10, 10, 10, 2)};
    part[1]->origin[2] = 10; /* one on top of the other: a tower, which lies down */
    struct motion motion;
    struct stand_report report;
    ck_assert_int_eq(stand_find((const struct mesh *const *)part, 2, NULL, &motion, &report, NULL),
                     STATUS_OK);
    ck_assert_double_eq_tol(report.height, 5, 1e-6);
    ck_assert_double_eq_tol(report.area, 200, 1e-6);
    struct vec low = motion_apply(&motion, vec(5, 5, 0)),
               high = motion_apply(&motion, vec(5, 5, 20));
    ck_assert_double_eq_tol(low.z, high.z, 1e-9);
    mesh_free(part[0]);
    mesh_free(part[1]);
}
END_TEST

START_TEST(far_off)
{
    struct mesh *box = shape_box(30, 20, 10, 1);
    box->origin[0] = 4e6;
    box->origin[1] = -5e6;
    struct stand_report report;
    struct vec on = vec(4e6 + 30, -5e6 + 10, 5);
    struct mesh *out = stand_now(box, &on, &report);
    expect_box(out, 10, 20, 30);
    mesh_free(out);
    mesh_free(box);
}
END_TEST

static struct mesh *stand_by(const struct mesh *mesh, enum stand_by by, double lean,
                             struct stand_report *report, int threads)
{
    struct job job;
    job_init(&job);
    job.threads = threads;
    struct motion motion;
    ck_assert_int_eq(stand_find_by(&mesh, 1, by, lean, &motion, report, &job), STATUS_OK);
    struct mesh *out = motion_mesh(&motion, mesh, &job);
    ck_assert_ptr_nonnull(out);
    job_release(&job);
    return out;
}

/* A cone 60 tall on a base of radius 10: standing it needs nothing; on its point it cannot be. */
START_TEST(the_least_support)
{
    uint64_t seed = 9;
    for (int i = 0; i < 5; i++) {
        struct mesh *tall = tumbled(cone(10, 60), &seed);
        struct stand_report report, again;
        struct mesh *out = stand_by(tall, STAND_SUPPORT, 45, &report, 1);
        expect_box(out, 0, 0, 60);
        ck_assert_double_eq_tol(report.support.volume, 0, 1e-6);
        ck_assert_uint_gt(report.tried, 1);
        mesh_free(stand_by(tall, STAND_SUPPORT, 45, &again, 2));
        ck_assert_int_eq(memcmp(&report, &again, sizeof report), 0);
        mesh_free(out);
        out = stand_by(tall, STAND_LARGEST, 45, &report, 1); /* the base, not a strip of its side */
        expect_box(out, 0, 0, 60);
        ck_assert_uint_eq(report.tried, 0);
        mesh_free(out);
        mesh_free(tall);
    }
}
END_TEST

/* A table, 40 x 40 x 4 on a foot of 10 x 10 x 20: under the top there are columns of 20, all but
 * the foot's; turned over, nothing. Prisms: the closed form is exact. */
START_TEST(support_is_columns)
{
    struct mesh *top = shape_box(40, 40, 4, 4), *foot = shape_box(10, 10, 20, 1);
    const struct mesh *const both[2] = {top, foot};
    const double move[2][3] = {{0, 0, 20}, {15, 15, 0}};
    struct mesh *table = shape_join(both, move, 2);
    struct support s = {0};
    ck_assert(support_add(table, vec(0, 0, -1), 0, 45, 1e-3, &s, NULL));
    ck_assert_double_eq_tol(s.area, 1600, 1e-6); /* its foot stands under it, not in it */
    ck_assert_double_eq_tol(s.volume, 1600 * 20, 1e-3);
    struct stand_report report;
    struct mesh *out = stand_by(table, STAND_SUPPORT, 45, &report, 2);
    ck_assert_double_eq_tol(report.area, 1600, 1e-3);
    ck_assert_double_eq_tol(report.support.volume, 10 * 10 * 4, 1e-3); /* the foot's own end */
    ck_assert_double_eq_tol(report.before.volume, 1600 * 20, 1e-3);
    mesh_free(out);
    mesh_free(table);
    mesh_free(top);
    mesh_free(foot);
}
END_TEST

/* A roof's underside at 40 degrees from upright carries itself at 45, not at 30. */
START_TEST(how_far_it_may_lean)
{
    const double pi = acos(-1), out = 30 * tan(40 * pi / 180);
    struct mesh *funnel = shape_frustum(10, 10 + out, 30, 720); /* wider above */
    struct support s = {0};
    ck_assert(support_add(funnel, vec(0, 0, -1), 0, 45, 1e-3, &s, NULL));
    ck_assert_double_eq(s.volume, 0);
    ck_assert(support_add(funnel, vec(0, 0, -1), 0, 30, 1e-3, &s, NULL));
    /* a cylinder less the frustum: pi h R^2 - pi h / 3 (R^2 + R r + r^2) */
    double R = 10 + out, r = 10, wanted = pi * 30 * (R * R - (R * R + R * r + r * r) / 3);
    ck_assert_double_eq_tol(s.volume, wanted, 1e-3 * wanted);
    mesh_free(funnel);
}
END_TEST

Suite *suite_stand(void);

Suite *suite_stand(void)
{
    Suite *suite = suite_create("stand");
    TCase *all = tcase_create("all");
    tcase_set_timeout(all, 20);
    tcase_add_test(all, a_box_lies_on_its_largest_side);
    tcase_add_test(all, standing_already);
    tcase_add_test(all, on_a_picked_side);
    tcase_add_test(all, the_least_support);
    tcase_add_test(all, support_is_columns);
    tcase_add_test(all, how_far_it_may_lean);
    tcase_add_test(all, cones);
    tcase_add_test(all, what_stood_stands);
    tcase_add_test(all, what_is_firmer_lies);
    tcase_add_test(all, the_other_side_is_told);
    tcase_add_test(all, of_equal_sides_one_that_bears_it);
    tcase_add_test(all, rough_foot);
    tcase_add_test(all, sheets_clouds_and_lines);
    tcase_add_test(all, several_pieces_stand_together);
    tcase_add_test(all, far_off);
    suite_add_tcase(suite, all);
    return suite;
}
