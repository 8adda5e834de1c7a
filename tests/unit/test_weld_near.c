/* Joining vertices within a gap: against a search of all pairs, on cracks, and at the extremes. */
#include <check.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "core/job.h"
#include "surface/weld_near.h"
#include "tests/support/shapes.h"
#include "tests/support/steps.h"

static struct mesh *weld_now(const struct mesh *mesh, double gap, bool rims, int threads,
                             struct weld_report *report)
{
    struct job job;
    job_init(&job);
    job.threads = threads;
    struct mesh *out = weld_near(mesh, gap, rims, report, &job);
    ck_assert_msg(out != NULL, "%s", job.message);
    job_release(&job);
    return out;
}

static struct mesh *random_cloud(size_t points, double side, uint64_t seed)
{
    struct mesh *cloud = mesh_new(points, 0);
    for (size_t v = 0; v < points; v++)
        mesh_point_edit(cloud)[v] =
            vec_point(vec(side * (shape_random(&seed) - 0.5), side * (shape_random(&seed) - 0.5),
                          side * (shape_random(&seed) - 0.5)));
    return cloud;
}

/* The rule of the header, by looking at all pairs. Returns how many stay; stay[] lists them. */
static size_t by_all_pairs(const struct mesh *mesh, double gap, uint32_t *stay)
{
    size_t count = 0;
    for (uint32_t v = 0; v < mesh_vertices(mesh); v++) {
        bool joins = false;
        for (size_t i = 0; i < count && !joins; i++)
            joins = vec_length2(vec_sub(point_vec(mesh_point(mesh)[v]),
                                        point_vec(mesh_point(mesh)[stay[i]]))) < gap * gap;
        if (!joins)
            stay[count++] = v;
    }
    return count;
}

START_TEST(as_all_pairs_say)
{
    for (int i = 0; i < 12; i++) {
        size_t points = 1500;
        struct mesh *cloud = random_cloud(points, 10, (uint64_t)i);
        double gap = 0.02 * pow(1.9, i); /* from hardly any to one vertex left */
        uint32_t *stay = malloc(points * sizeof *stay);
        size_t count = by_all_pairs(cloud, gap, stay);
        struct weld_report report;
        struct mesh *out = weld_now(cloud, gap, false, 1, &report);
        ck_assert_uint_eq(mesh_vertices(out), count);
        ck_assert_uint_eq(report.joined, points - count);
        for (size_t v = 0; v < count; v++)
            ck_assert_mem_eq(&mesh_point(out)[v], &mesh_point(cloud)[stay[v]],
                             sizeof(struct point));
        mesh_free(out);
        mesh_free(cloud);
        free(stay);
    }
}
END_TEST

/* A ball whose triangles each have vertices of their own, off by up to `off` in each coordinate. */
static struct mesh *cracked_ball(double off, uint64_t seed)
{
    struct mesh *ball = shape_sphere(50, 3), *loose;
    loose = mesh_new(3 * mesh_triangles(ball), mesh_triangles(ball));
    for (uint32_t c = 0; c < 3 * mesh_triangles(ball); c++) {
        struct vec p = point_vec(mesh_point(ball)[mesh_triangle(ball)[c / 3].v[c % 3]]);
        struct vec d =
            vec(shape_random(&seed) - 0.5, shape_random(&seed) - 0.5, shape_random(&seed) - 0.5);
        mesh_point_edit(loose)[c] = vec_point(vec_along(p, 2 * off, d));
        mesh_triangle_edit(loose)[c / 3].v[c % 3] = c;
    }
    mesh_free(ball);
    return loose;
}

START_TEST(cracks_are_sewn)
{
    for (int rims = 0; rims < 2; rims++) {
        struct mesh *loose = cracked_ball(0.01, 3);
        struct weld_report report;
        struct mesh *out = weld_now(loose, 0.05, rims, 1, &report);
        struct shape_count count = shape_count(out);
        ck_assert_uint_eq(mesh_vertices(out), 642);
        ck_assert_uint_eq(report.dropped, 0);
        ck_assert_uint_eq(count.boundary + count.nonmanifold + count.misoriented, 0);
        ck_assert(out->joined);
        mesh_free(out);
        mesh_free(loose);
    }
}
END_TEST

START_TEST(same_place_only)
{
    struct mesh *loose = cracked_ball(0, 3);
    struct weld_report report;
    struct mesh *out = weld_now(loose, 0, false, 1, &report);
    ck_assert_uint_eq(mesh_vertices(out), 642);
    ck_assert_uint_eq(report.joined, mesh_vertices(loose) - 642);
    struct mesh *again = weld_now(out, 0, false, 1, &report);
    ck_assert_ptr_eq(again, out);
    ck_assert_uint_eq(report.joined, 0);
    mesh_free(again);
    mesh_free(out);
    mesh_free(loose);
}
END_TEST

START_TEST(rims_spare_the_inside)
{
    struct mesh *part[2] = {shape_patch(10, 20, NULL), shape_patch(10, 20, NULL)};
    const double move[2][3] = {{0}, {10.3, 0, 0}};
    struct mesh *both = shape_join((const struct mesh *const *)part, move, 2);
    struct weld_report report;
    struct mesh *sewn =
        weld_now(both, 0.4, true, 1, &report); /* wider than the gap, and finer than a square */
    ck_assert_uint_eq(report.joined, 21);
    ck_assert_uint_eq(report.dropped, 0);
    ck_assert_uint_eq(shape_count(sewn).boundary, 4 * 20 * 2 - 2 * 20);
    struct mesh *coarse = weld_now(both, 0.6, false, 1, &report); /* a square is 0.5 wide */
    ck_assert_uint_gt(report.dropped, 0);
    for (size_t t = 0; t < mesh_triangles(coarse); t++) {
        const uint32_t *v = mesh_triangle(coarse)[t].v;
        ck_assert(v[0] != v[1] && v[1] != v[2] && v[2] != v[0]);
    }
    mesh_free(coarse);
    mesh_free(sewn);
    mesh_free(both);
    mesh_free(part[0]);
    mesh_free(part[1]);
}
END_TEST

START_TEST(extremes)
{
    struct weld_report report;
    struct mesh *cloud = random_cloud(200000, 1e-3, 8); /* all within the gap */
    mesh_point_edit(cloud)[199999] = (struct point){3e30f, -3e30f, 0};
    struct mesh *out = weld_now(cloud, 1, false, 1, &report);
    ck_assert_uint_eq(mesh_vertices(out), 2);
    mesh_free(out);
    out = weld_now(cloud, 1e-30, false, 1, &report); /* a gap far below what a cell can be */
    ck_assert_uint_ge(mesh_vertices(out), 2);
    mesh_free(out);
    mesh_free(cloud);
    cloud = mesh_new(0, 0);
    out = weld_now(cloud, 1, true, 1, &report);
    ck_assert_uint_eq(mesh_vertices(out), 0);
    mesh_free(out);
    mesh_free(cloud);
}
END_TEST

START_TEST(same_for_any_threads_and_cancel)
{
    struct mesh *loose = cracked_ball(0.01, 5);
    struct weld_report report;
    struct mesh *one = weld_now(loose, 0.05, true, 1, &report);
    for (int threads = 2; threads <= 3; threads++) {
        struct mesh *more = weld_now(loose, 0.05, true, threads, &report);
        ck_assert_uint_eq(mesh_vertices(one), mesh_vertices(more));
        ck_assert_mem_eq(one->point->data, more->point->data, array_bytes(one->point));
        ck_assert_mem_eq(one->triangle->data, more->triangle->data, array_bytes(one->triangle));
        mesh_free(more);
    }
    struct job job;
    job_init(&job);
    atomic_store(&job.cancel, true);
    ck_assert_ptr_null(weld_near(loose, 0.05, false, &report, &job));
    ck_assert_int_eq(job.status, STATUS_CANCELLED);
    job_release(&job);
    mesh_free(one);
    mesh_free(loose);
}
END_TEST

START_TEST(a_gap_that_leaves_nothing_is_refused)
{
    struct scene *scene = steps_scene(shape_sphere(10, 3));
    steps_refused(scene, "weld gap=30", "until no triangle is left");
    scene = steps_told(scene, "weld gap=2", "vertices joined to others");
    ck_assert_uint_gt(mesh_triangles(scene->piece[0]->mesh), 100);
    scene_free(scene);
}
END_TEST

Suite *suite_weld_near(void);

Suite *suite_weld_near(void)
{
    Suite *suite = suite_create("weld_near");
    TCase *all = tcase_create("all");
    tcase_set_timeout(all, 20);
    tcase_add_test(all, as_all_pairs_say);
    tcase_add_test(all, cracks_are_sewn);
    tcase_add_test(all, same_place_only);
    tcase_add_test(all, rims_spare_the_inside);
    tcase_add_test(all, extremes);
    tcase_add_test(all, same_for_any_threads_and_cancel);
    tcase_add_test(all, a_gap_that_leaves_nothing_is_refused);
    suite_add_tcase(suite, all);
    return suite;
}
