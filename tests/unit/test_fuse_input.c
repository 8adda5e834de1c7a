/* Fusing: what it can be given. */
#include <check.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "core/job.h"
#include "core/topology.h"
#include "tests/support/scans.h"
#include "tests/support/shapes.h"
#include "tests/support/sound.h"
#include "tests/support/wrecks.h"

static struct mesh *fused_one(const struct mesh *mesh, double apart, bool closed,
                              struct fuse_report *report)
{
    struct scans scans = {{(struct mesh *)(uintptr_t)mesh}, 1};
    const struct fuse_options options = {apart, closed};
    return scans_fused(&scans, &options, report);
}

START_TEST(a_whole_mesh_stays_itself)
{
    struct fuse_report report;
    struct mesh *sphere = shape_sphere(10, 4), *mesh = fused_one(sphere, 0, true, &report);
    scans_check_solid(mesh);
    ck_assert_double_eq(report.invented, 0);
    ck_assert_double_eq_tol(shape_count(mesh).volume, 4188.79, 0.004 * 4188.79);
    mesh_free(mesh);
    mesh_free(sphere);
}
END_TEST

/* The spacing asked for is that of the new vertices: so many stand on the surface as in a net of
 * equal triangles, area * 2 / sqrt(3) / spacing^2. */
START_TEST(spacing_is_kept)
{
    static const double wanted[] = {0.25, 0.6, 1.5, 2.5};
    struct fuse_report report;
    struct mesh *sphere = shape_sphere(10, 5), *mesh = fused_one(sphere, wanted[_i], true, &report);
    scans_check_solid(mesh);
    double area = shape_count(mesh).area, n = (double)mesh_vertices(mesh);
    ck_assert_double_eq(report.spacing, wanted[_i]);
    ck_assert_double_eq_tol(sqrt(area * 1.1547 / n), wanted[_i], 0.08 * wanted[_i]);
    mesh_free(mesh);
    mesh_free(sphere);
}
END_TEST

/* Twelve triangles, finer spacing: the faces are sampled, the edges and corners stay. */
START_TEST(large_triangles_are_surface_too)
{
    struct fuse_report report;
    struct mesh *coarse = shape_box(10, 8, 6, 1), *mesh = fused_one(coarse, 0.4, true, &report);
    scans_check_solid(mesh);
    ck_assert_double_eq_tol(shape_count(mesh).volume, 480, 0.002 * 480);
    ck_assert_double_lt(report.invented, 0.01 * report.area);
    mesh_free(mesh);
    mesh_free(coarse);
}
END_TEST

static struct mesh *turned_over(const struct mesh *mesh)
{
    struct mesh *over = mesh_new_like(mesh);
    struct array *triangle = array_new(mesh_triangles(mesh), sizeof(struct triangle));
    ck_assert(over && triangle);
    for (size_t t = 0; t < mesh_triangles(mesh); t++) {
        const uint32_t *v = mesh_triangle(mesh)[t].v;
        ((struct triangle *)triangle->data)[t] = (struct triangle){{v[1], v[0], v[2]}};
    }
    array_free(over->triangle);
    over->triangle = triangle;
    return over;
}

START_TEST(pieces_that_face_inward_are_turned)
{
    const struct fuse_options options = {.closed = true};
    struct scans scans = scans_of(small_ball, 0.4, 0.02, SCANS_VIEWS);
    struct fuse_report report;
    struct mesh *over = turned_over(scans.mesh[2]), *mesh;
    mesh_free(scans.mesh[2]);
    scans.mesh[2] = over;
    uint8_t turned[SCANS_VIEWS] = {0};
    ck_assert_int_eq(fuse((const struct mesh *const *)scans.mesh, SCANS_VIEWS, &options, &mesh,
                          &report, turned, NULL),
                     STATUS_OK);
    scans_check_solid(mesh);
    ck_assert_double_eq_tol(shape_count(mesh).volume, 3053.628, 0.01 * 3053.628);
    ck_assert_uint_eq(report.turned, 1);
    ck_assert_uint_eq(turned[2], 1);
    mesh_free(mesh);
    scans_free(&scans);
    struct mesh *sphere = shape_sphere(10, 4), *inward = turned_over(sphere);
    mesh = fused_one(inward, 0, true, &report);
    scans_check_solid(mesh);
    ck_assert_uint_eq(report.turned, 1);
    mesh_free(mesh);
    mesh_free(inward);
    mesh_free(sphere);
}
END_TEST

START_TEST(clouds_are_pieces_too)
{
    const struct fuse_options options = {.closed = true};
    struct scans scans = {.count = SCANS_VIEWS};
    for (size_t i = 0; i < SCANS_VIEWS; i++) {
        struct scanner scanner = {.from = scans_from[i],
                                  .spacing = 0.4,
                                  .noise = 0.01,
                                  .radius = 12,
                                  .points_only = i % 2 == 0,
                                  .seed = i};
        scans.mesh[i] = scanner_view(small_ball, &scanner);
    }
    struct fuse_report report;
    struct mesh *mesh = scans_fused(&scans, &options, &report);
    scans_check_solid(mesh);
    ck_assert_double_le(scans_errors(mesh, small_ball, ORIGIN_MEASURED).rms, 0.02);
    ck_assert_double_eq_tol(shape_count(mesh).volume, 3053.628, 0.01 * 3053.628);
    mesh_free(mesh);
    scans_free(&scans);
}
END_TEST

/* Two balls far from each other, and the whole of it far from zero. */
START_TEST(apart_and_far_off)
{
    struct scans scans = {{shape_sphere(3, 4), shape_sphere(3, 4)}, 2};
    const struct fuse_options options = {.closed = true};
    struct fuse_report report;
    scans.mesh[0]->origin[0] = 4e6 + 0.25;
    scans.mesh[1]->origin[0] = 4e6 + 50.25;
    struct mesh *mesh = scans_fused(&scans, &options, &report);
    scans_check_solid(mesh);
    ck_assert_int_eq(shape_count(mesh).euler, 4);
    ck_assert_double_eq_tol(shape_count(mesh).volume, 2 * 113.097, 1.5);
    struct vec centre = mesh_bounds(mesh, NULL)->centre;
    ck_assert_double_eq_tol(centre.x, 4e6 + 25.25, 0.01);
    mesh_free(mesh);
    scans_free(&scans);
}
END_TEST

static struct mesh *points(size_t count)
{
    struct mesh *mesh = mesh_new(count, 0);
    for (size_t i = 0; i < count; i++)
        mesh_point_edit(mesh)[i] = (struct point){(float)(i % 2), (float)(i / 2 % 2), 0};
    return mesh;
}

static enum status refused(const struct mesh *mesh, double apart)
{
    struct job job;
    struct fuse_report report;
    struct mesh *out = NULL;
    const struct fuse_options options = {apart, true};
    job_init(&job);
    enum status status = fuse(&mesh, 1, &options, &out, &report, NULL, &job);
    ck_assert(status == STATUS_OK || (job.message[0] && !out));
    if (out)
        scans_check_solid(out);
    mesh_free(out);
    job_release(&job);
    return status;
}

START_TEST(next_to_nothing)
{
    struct mesh *none = points(0), *one = points(1), *three = points(3);
    ck_assert_int_eq(refused(none, 0), STATUS_REFUSED);
    ck_assert_int_eq(refused(one, 0), STATUS_REFUSED);
    ck_assert_int_eq(refused(one, 1), STATUS_REFUSED);
    ck_assert_int_eq(refused(three, 0), STATUS_OK); /* they lie in one plane, and face up */
    mesh_free(none);
    mesh_free(one);
    mesh_free(three);
    const double corner[3][3] = {{0, 0, 0}, {1, 0, 0}, {0, 1, 0}};
    const uint32_t face[1][3] = {{0, 1, 2}};
    struct mesh *triangle = shape_make(corner, 3, face, 1);
    ck_assert_int_eq(refused(triangle, 0), STATUS_OK);
    ck_assert_int_eq(refused(triangle, 0.05), STATUS_OK);
    mesh_free(triangle);
    struct mesh *sphere = shape_sphere(10, 3);
    mesh_point_edit(sphere)[5].x = 3e9f; /* too far for a grid, */
    ck_assert_int_eq(refused(sphere, 0), STATUS_REFUSED);
    mesh_point_edit(sphere)[5].x = 3e30f; /* and for its numbers */
    ck_assert_int_eq(refused(sphere, 0), STATUS_REFUSED);
    ck_assert_int_eq(refused(sphere, 1e25), STATUS_REFUSED);
    mesh_free(sphere);
}
END_TEST

/* Soups, flipped and torn spheres: whatever comes, what comes out is a solid. */
START_TEST(wrecks_become_solids)
{
    struct mesh *broken = wreck(_i);
    enum status status = refused(broken, 0);
    ck_assert(status == STATUS_OK || status == STATUS_REFUSED);
    mesh_free(broken);
}
END_TEST

Suite *suite_fuse_input(void);
Suite *suite_fuse_input(void)
{
    Suite *suite = suite_create("fuse_input");
    TCase *all = tcase_create("all");
    tcase_set_timeout(all, 60);
    tcase_add_test(all, a_whole_mesh_stays_itself);
    tcase_add_loop_test(all, spacing_is_kept, 0, 4);
    tcase_add_test(all, large_triangles_are_surface_too);
    tcase_add_test(all, pieces_that_face_inward_are_turned);
    tcase_add_test(all, clouds_are_pieces_too);
    tcase_add_test(all, apart_and_far_off);
    tcase_add_test(all, next_to_nothing);
    tcase_add_loop_test(all, wrecks_become_solids, 0, 10);
    suite_add_tcase(suite, all);
    return suite;
}
