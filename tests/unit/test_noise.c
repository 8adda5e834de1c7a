/* How far points scatter about their surface, and what fusing makes of scans that are noisier than
 * dense. */
#include <check.h>
#include <math.h>
#include <stdlib.h>

#include "core/subset.h"
#include "scan/noise.h"
#include "scan/normals.h"
#include "tests/support/scans.h"
#include "tests/support/shapes.h"

static const double spacing = 0.1694; /* of the ball's vertices, by its area and their number */

/* A ball of 9 mm, each vertex moved along its radius by noise of this deviation. */
static struct mesh *rough_ball(double deviation)
{
    struct mesh *ball = shape_sphere(9, 6);
    uint64_t seed = 7;
    for (size_t v = 0; v < mesh_vertices(ball); v++) {
        struct vec p = point_vec(mesh_point(ball)[v]);
        double far = 1 + deviation * scanner_gauss(&seed) / 9;
        mesh_point_edit(ball)[v] = vec_point(vec_scale(p, far));
    }
    return ball;
}

static struct mesh *points_of(struct mesh *mesh)
{
    struct mesh *cloud = mesh_cloud(mesh, NULL);
    mesh_free(mesh);
    return cloud;
}

static struct noise measured(const struct mesh *mesh, bool with_normals)
{
    struct noise noise;
    struct point *normal = with_normals ? normals_of(mesh, NULL) : NULL;
    ck_assert_int_eq(noise_measure(mesh, normal, &noise, NULL), STATUS_OK);
    scratch_free(normal);
    return noise;
}

/* From a hundredth of the spacing to twice as much. */
static const double deviations[] = {0.0017, 0.017, 0.05, 0.1, 0.17, 0.25, 0.34};
enum { DEVIATIONS = sizeof deviations / sizeof *deviations };

START_TEST(the_deviation_is_found)
{
    double deviation = deviations[_i];
    struct mesh *cloud = points_of(rough_ball(deviation));
    struct noise noise = measured(cloud, false);
    ck_assert_double_eq_tol(noise.deviation, deviation, 0.12 * deviation);
    mesh_free(cloud);
}
END_TEST

/* Of triangles too, with their normals, which lean the more the rougher they are. */
START_TEST(of_meshes_too)
{
    double deviation = deviations[_i];
    struct mesh *mesh = rough_ball(deviation);
    struct noise noise = measured(mesh, true);
    ck_assert_double_eq_tol(noise.deviation, deviation, 0.2 * deviation);
    mesh_free(mesh);
}
END_TEST

/* The two sides of a plate, one and a half spacings apart, are no noise. */
START_TEST(two_sheets_are_no_noise)
{
    struct mesh *one = shape_patch(20, 60, NULL);
    const struct mesh *both[] = {one, one};
    const double move[][3] = {{0, 0, 0}, {0.17, 0.17, 0.5}};
    struct mesh *cloud = points_of(shape_join(both, move, 2));
    struct noise noise = measured(cloud, false);
    ck_assert_double_lt(noise.deviation, 0.02);
    mesh_free(cloud);
    mesh_free(one);
}
END_TEST

START_TEST(edges_are_no_noise)
{
    struct mesh *cloud = points_of(shape_box(20, 20, 20, 20));
    struct noise noise = measured(cloud, false);
    ck_assert_double_lt(noise.deviation, 0.001);
    mesh_free(cloud);
}
END_TEST

/* Too few points, or all on a line: nothing is said. */
START_TEST(little_says_nothing)
{
    struct mesh *line = mesh_new(400, 0);
    for (int v = 0; v < 400; v++)
        mesh_point_edit(line)[v] = (struct point){0.1f * (float)v, 0, 0};
    struct noise noise = measured(line, false);
    ck_assert_double_eq(noise.deviation, 0);
    ck_assert_uint_eq(noise.around, 0);
    mesh_free(line);
    struct mesh *few = mesh_new(3, 0);
    for (int v = 0; v < 3; v++)
        mesh_point_edit(few)[v] = (struct point){(float)v, (float)(v * v), 0};
    noise = measured(few, false);
    ck_assert_double_eq(noise.deviation, 0);
    mesh_free(few);
}
END_TEST

/* Normals of a cloud twice as noisy as dense: within 10 degrees of the radius, in the mean. */
START_TEST(normals_see_through_noise)
{
    struct mesh *cloud = points_of(rough_ball(2 * spacing));
    struct point *normal = normals_of(cloud, NULL);
    double sum = 0;
    for (size_t v = 0; v < mesh_vertices(cloud); v++)
        sum += vec_dot(point_vec(normal[v]), vec_unit(point_vec(mesh_point(cloud)[v])));
    ck_assert_double_gt(sum / (double)mesh_vertices(cloud), cos(10 * 0.017453292519943295));
    scratch_free(normal);
    mesh_free(cloud);
}
END_TEST

/* Twice as noisy as dense: one ball, its noise averaged down, said to be coarser than the scan. */
START_TEST(noisy_points_make_one_surface)
{
    struct scans scans = {{points_of(rough_ball(2 * spacing))}, 1};
    const struct fuse_options options = {.closed = true};
    struct fuse_report report;
    struct mesh *mesh = scans_fused(&scans, &options, &report);
    scans_check_solid(mesh);
    ck_assert_int_eq(shape_count(mesh).euler, 2);
    ck_assert_double_eq_tol(report.noise, 2 * spacing, 0.2 * spacing);
    ck_assert_double_gt(report.finer, 0);
    ck_assert_double_eq_tol(report.spacing, 4 * spacing, 0.4 * spacing);
    struct scans_errors errors = scans_errors(mesh, small_ball, ORIGIN_MEASURED);
    ck_assert_double_lt(errors.rms, 0.2 * 2 * spacing);
    mesh_free(mesh);
    scans_free(&scans);
}
END_TEST

/* Noise well below the spacing changes nothing. */
START_TEST(usual_noise_asks_for_nothing)
{
    struct scans scans = scans_of(small_torus, scans_spacing, scans_noise, SCANS_VIEWS);
    const struct fuse_options options = {.closed = true};
    struct fuse_report report;
    struct mesh *mesh = scans_fused(&scans, &options, &report);
    ck_assert_double_eq(report.noise, 0);
    ck_assert_double_eq(report.finer, 0);
    mesh_free(mesh);
    scans_free(&scans);
}
END_TEST

Suite *suite_noise(void);
Suite *suite_noise(void)
{
    Suite *suite = suite_create("noise");
    TCase *measure = tcase_create("measure"), *effect = tcase_create("effect");
    tcase_add_loop_test(measure, the_deviation_is_found, 0, DEVIATIONS);
    tcase_add_loop_test(measure, of_meshes_too, 0, DEVIATIONS);
    tcase_add_test(measure, two_sheets_are_no_noise);
    tcase_add_test(measure, edges_are_no_noise);
    tcase_add_test(measure, little_says_nothing);
    tcase_add_test(effect, normals_see_through_noise);
    tcase_add_test(effect, noisy_points_make_one_surface);
    tcase_add_test(effect, usual_noise_asks_for_nothing);
    tcase_set_timeout(effect, 60);
    suite_add_tcase(suite, measure);
    suite_add_tcase(suite, effect);
    return suite;
}
