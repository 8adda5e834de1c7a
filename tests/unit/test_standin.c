/* The quick stand-in: about the count asked for, near the surface, the same for any threads. */
#include <check.h>
#include <stdlib.h>
#include <string.h>

#include "core/job.h"
#include "surface/standin.h"
#include "tests/support/shapes.h"

static bool same_bytes(const struct mesh *a, const struct mesh *b)
{
    return mesh_vertices(a) == mesh_vertices(b) && mesh_triangles(a) == mesh_triangles(b) &&
           memcmp(mesh_point(a), mesh_point(b), array_bytes(a->point)) == 0 &&
           memcmp(mesh_triangle(a), mesh_triangle(b), array_bytes(a->triangle)) == 0;
}

START_TEST(about_the_count_and_near)
{
    static const size_t targets[] = {500, 5000, 20000};
    struct mesh *sphere = shape_sphere(50, 7); /* 327 680 triangles */
    struct mesh *quick = decimate_quick(sphere, targets[_i], NULL);
    ck_assert_ptr_nonnull(quick);
    double ratio = (double)mesh_triangles(quick) / (double)targets[_i];
    ck_assert_double_gt(ratio, 0.67);
    ck_assert_double_lt(ratio, 1.33);
    double cell = sqrt(3 * 31415.9 / (double)targets[_i]);
    for (size_t v = 0; v < mesh_vertices(quick); v++) {
        double r = vec_length(point_vec(mesh_point(quick)[v]));
        ck_assert_double_lt(fabs(r - 50), 0.25 * cell * cell / 50 + 0.01);
    }
    struct shape_count count = shape_count(quick);
    ck_assert_double_lt(fabs(count.volume / 523598.776 - 1), 3 / (double)targets[_i] * 10);
    mesh_free(quick);
    mesh_free(sphere);
}
END_TEST

START_TEST(same_for_any_threads)
{
    struct mesh *torus = shape_torus(40, 10, 600, 200), *first = NULL;
    for (int threads = 1; threads <= 3; threads++) {
        struct job job;
        job_init(&job);
        job.threads = threads;
        struct mesh *quick = decimate_quick(torus, 7000, &job);
        ck_assert_ptr_nonnull(quick);
        if (!first)
            first = mesh_share(quick);
        ck_assert(same_bytes(first, quick));
        mesh_free(quick);
        job_release(&job);
    }
    mesh_free(first);
    mesh_free(torus);
}
END_TEST

START_TEST(a_box_keeps_its_corners)
{
    struct mesh *box = shape_box(30, 20, 10, 60);
    struct mesh *quick = decimate_quick(box, 3000, NULL);
    struct shape_count count = shape_count(quick);
    ck_assert_double_lt(fabs(count.volume / 6000 - 1), 0.01);
    mesh_free(quick);
    mesh_free(box);
}
END_TEST

START_TEST(small_ones_are_shared)
{
    struct mesh *sphere = shape_sphere(1, 1), *empty = mesh_new(0, 0);
    struct mesh *same = decimate_quick(sphere, 80, NULL), *none = decimate_quick(empty, 0, NULL);
    ck_assert_ptr_eq(same, sphere);
    ck_assert_ptr_eq(none, empty);
    mesh_free(same);
    mesh_free(none);
    mesh_free(sphere);
    mesh_free(empty);
}
END_TEST

START_TEST(bad_meshes_are_thinned_too)
{
    /* all vertices in one place; on a line; flat; one giant triangle among small ones */
    static const double scale[4][3] = {{0, 0, 0}, {1, 0, 0}, {1, 1, 0}, {1, 1, 1}};
    struct mesh *sphere = shape_sphere(10, 4);
    struct point *point = mesh_point_edit(sphere);
    for (size_t v = 0; v < mesh_vertices(sphere); v++) {
        point[v].x *= (float)scale[_i][0];
        point[v].y *= (float)scale[_i][1];
        point[v].z *= (float)scale[_i][2];
    }
    if (_i == 3)
        point[7] = (struct point){1e6f, 1e6f, -1e6f};
    struct mesh *quick = decimate_quick(sphere, 100, NULL);
    ck_assert_ptr_nonnull(quick);
    for (size_t v = 0; v < mesh_vertices(quick); v++)
        ck_assert(isfinite(mesh_point(quick)[v].x) && isfinite(mesh_point(quick)[v].z));
    ck_assert_uint_lt(mesh_triangles(quick), mesh_triangles(sphere));
    mesh_free(quick);
    mesh_free(sphere);
}
END_TEST

START_TEST(a_cloud_is_thinned_with_its_colours)
{
    struct mesh *cloud = mesh_new(100000, 0);
    uint8_t *colour = mesh_attribute_new(cloud, ATTRIBUTE_colour);
    for (size_t v = 0; v < 100000; v++) {
        mesh_point_edit(cloud)[v] = (struct point){(float)v, 0, 0};
        for (size_t k = 0; k < 4; k++)
            colour[4 * v + k] = (uint8_t)(v >> (k * 6));
    }
    struct mesh *quick = decimate_quick(cloud, 10000, NULL);
    ck_assert_uint_gt(mesh_vertices(quick), 9000);
    ck_assert_uint_lt(mesh_vertices(quick), 11000);
    const uint8_t *made = mesh_attribute(quick, ATTRIBUTE_colour);
    ck_assert_ptr_nonnull(made);
    for (size_t i = 0; i < mesh_vertices(quick); i++)
        ck_assert_mem_eq(made + 4 * i, colour + 4 * (size_t)mesh_point(quick)[i].x, 4);
    mesh_free(quick);
    mesh_free(cloud);
}
END_TEST

START_TEST(cancelled)
{
    struct mesh *sphere = shape_sphere(50, 5);
    struct job job;
    job_init(&job);
    job.cancel = true;
    ck_assert_ptr_null(decimate_quick(sphere, 1000, &job));
    ck_assert_int_eq(job.status, STATUS_CANCELLED);
    job_release(&job);
    mesh_free(sphere);
}
END_TEST

Suite *suite_standin(void);
Suite *suite_standin(void)
{
    Suite *suite = suite_create("standin");
    TCase *tests = tcase_create("standin");
    tcase_set_timeout(tests, 60);
    tcase_add_loop_test(tests, about_the_count_and_near, 0, 3);
    tcase_add_test(tests, same_for_any_threads);
    tcase_add_test(tests, a_box_keeps_its_corners);
    tcase_add_test(tests, small_ones_are_shared);
    tcase_add_loop_test(tests, bad_meshes_are_thinned_too, 0, 4);
    tcase_add_test(tests, a_cloud_is_thinned_with_its_colours);
    tcase_add_test(tests, cancelled);
    suite_add_tcase(suite, tests);
    return suite;
}
