/* Fusing made-up scans of solids given by their distance functions, whose true surface is known. */
#include <check.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "tests/support/scans.h"
#include "tests/support/shapes.h"
#include "tests/support/sound.h"

struct shape {
    const char *name;
    solid_distance solid;
    long euler;
    double volume; /* mm3 */
};

static const struct shape shapes[] = {
    {"ball", small_ball, 2, 3053.628},          /* 4/3 pi 9^3 */
    {"torus", small_torus, 0, 1421.223},        /* 2 pi^2 8 3^2 */
    {"box", small_box, 2, 1920},                /* 16 x 12 x 10 */
    {"plate", small_plate, 2, 230.4},           /* 16 x 12 x 1.2 */
    {"two balls", small_two_balls, 4, 536.165}, /* 2 * 4/3 pi 4^3 */
};
enum { SHAPES = sizeof shapes / sizeof *shapes };

/* The task's own bound: scans of 0.3 mm spacing and 0.03 mm noise, fused, are within 0.02 mm (root
 * mean square) and 0.06 mm (95 of 100) of the truth where it was measured. */
START_TEST(near_the_truth_and_closed)
{
    const struct shape *shape = &shapes[_i];
    struct scans scans = scans_of(shape->solid, scans_spacing, scans_noise, SCANS_VIEWS);
    const struct fuse_options options = {.closed = true};
    struct fuse_report report;
    struct mesh *mesh = scans_fused(&scans, &options, &report);
    scans_check_solid(mesh);
    ck_assert_int_eq(shape_count(mesh).euler, shape->euler);
    struct scans_errors e = scans_errors(mesh, shape->solid, ORIGIN_MEASURED);
    ck_assert_msg(e.rms <= 0.02 && e.p95 <= 0.06, "%s: RMS %g, P95 %g", shape->name, e.rms, e.p95);
    ck_assert_double_eq_tol(shape_count(mesh).volume, shape->volume, 0.01 * shape->volume);
    ck_assert_double_gt(e.share, 0.9);
    ck_assert_double_eq_tol(report.invented / report.area, 1 - e.share, 1e-6);
    mesh_free(mesh);
    scans_free(&scans);
}
END_TEST

/* Range images that were made into meshes and put into one file: one piece whose shells overlap,
 * are not joined, and of which one faces the other way. As near to the truth as views are that are
 * pieces of their own. */
static struct mesh *turned_over(const struct mesh *mesh)
{
    struct mesh *over = shape_join(&mesh, NULL, 1);
    for (size_t t = 0; t < mesh_triangles(over); t++) {
        struct triangle was = mesh_triangle(over)[t];
        mesh_triangle_edit(over)[t] = (struct triangle){{was.v[1], was.v[0], was.v[2]}};
    }
    return over;
}

START_TEST(shells_in_one_piece)
{
    const struct shape *shape = &shapes[_i];
    struct scans views = scans_of(shape->solid, scans_spacing, scans_noise, SCANS_VIEWS);
    struct mesh *over = turned_over(views.mesh[4]);
    mesh_free(views.mesh[4]);
    views.mesh[4] = over;
    struct scans one = {{shape_join((const struct mesh *const *)views.mesh, NULL, views.count)}, 1};
    const struct fuse_options options = {.closed = true};
    struct fuse_report report;
    struct mesh *mesh = scans_fused(&one, &options, &report);
    scans_check_solid(mesh);
    ck_assert_int_eq(shape_count(mesh).euler, shape->euler);
    struct scans_errors e = scans_errors(mesh, shape->solid, ORIGIN_MEASURED);
    ck_assert_msg(e.rms <= 0.02 && e.p95 <= 0.06, "%s: RMS %g, P95 %g", shape->name, e.rms, e.p95);
    ck_assert_double_eq_tol(shape_count(mesh).volume, shape->volume, 0.01 * shape->volume);
    ck_assert_double_gt(e.share, 0.9);
    ck_assert_uint_eq(report.turned, 0); /* most of the piece faces the right way */
    mesh_free(mesh);
    scans_free(&one);
    scans_free(&views);
}
END_TEST

/* One view of a ball: open, it is a cap that goes no farther than what was seen; closed, a solid
 * whose invented part is marked. Steeper than 75 degrees the scanner does not see. */
START_TEST(one_view)
{
    struct scans scans = scans_of(small_ball, scans_spacing, scans_noise, 1);
    struct fuse_report report;
    const struct fuse_options shut = {.closed = true}, open = {.closed = false};
    struct mesh *mesh = scans_fused(&scans, &open, &report);
    ck_assert(scans_manifold(mesh));
    ck_assert_uint_gt(shape_count(mesh).boundary, 100);
    ck_assert_int_eq(shape_count(mesh).euler, 1); /* a disc */
    ck_assert_uint_eq(sound_crossings(mesh), 0);
    ck_assert_double_eq(report.invented, 0);
    ck_assert_double_eq(scans_errors(mesh, small_ball, ORIGIN_MEASURED).share, 1);
    ck_assert_double_le(scans_errors(mesh, small_ball, ORIGIN_MEASURED).rms, 0.02);
    double cap = shape_count(scans.mesh[0]).area;
    ck_assert_double_eq_tol(report.area, cap, 0.04 * cap);
    mesh_free(mesh);

    mesh = scans_fused(&scans, &shut, &report);
    scans_check_solid(mesh);
    ck_assert_int_eq(shape_count(mesh).euler, 2);
    struct scans_errors seen = scans_errors(mesh, small_ball, ORIGIN_MEASURED);
    ck_assert_double_le(seen.rms, 0.02);
    ck_assert_double_eq_tol(seen.share * report.area, cap, 0.04 * cap);
    ck_assert_double_eq_tol(report.invented, (1 - seen.share) * report.area, 1e-3);
    mesh_free(mesh);
    scans_free(&scans);
}
END_TEST

Suite *suite_fuse(void);
Suite *suite_fuse(void)
{
    Suite *suite = suite_create("fuse");
    TCase *all = tcase_create("all");
    tcase_set_timeout(all, 60);
    tcase_add_loop_test(all, near_the_truth_and_closed, 0, SHAPES);
    tcase_add_loop_test(all, shells_in_one_piece, 0, SHAPES);
    tcase_add_test(all, one_view);
    suite_add_tcase(suite, all);
    return suite;
}
