/* Smoothing. */
#include <check.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "core/job.h"
#include "surface/smooth.h"
#include "tests/support/cancelling.h"
#include "tests/support/shapes.h"
#include "tests/support/wrecks.h"

static struct mesh *smoothed(const struct mesh *mesh, unsigned passes, double strength,
                             struct smooth_report *report)
{
    const struct smooth_options options = {passes, strength};
    struct mesh *out = NULL;
    ck_assert_int_eq(smooth_mesh(mesh, &options, &out, report, NULL), STATUS_OK);
    ck_assert_ptr_nonnull(out);
    return out;
}

/* About normal, mean 0, SD 1. */
static double bell(uint64_t *state)
{
    double sum = -6;
    for (int i = 0; i < 12; i++)
        sum += shape_random(state);
    return sum;
}

/* A sphere whose vertices are off by `noise` along the radius. */
static struct mesh *rough_sphere(double radius, int level, double noise)
{
    struct mesh *mesh = shape_sphere(radius, level);
    uint64_t state = 3;
    for (size_t v = 0; v < mesh_vertices(mesh); v++) {
        struct point *p = mesh_point_edit(mesh) + v;
        *p = vec_point(vec_scale(point_vec(*p), 1 + noise * bell(&state) / radius));
    }
    return mesh;
}

static double roughness(const struct mesh *mesh, double radius, double *mean)
{
    double sum = 0, sum2 = 0, n = (double)mesh_vertices(mesh);
    for (size_t v = 0; v < mesh_vertices(mesh); v++) {
        double d = vec_length(point_vec(mesh_point(mesh)[v])) - radius;
        sum += d;
        sum2 += d * d;
    }
    *mean = sum / n;
    return sqrt(sum2 / n);
}

/* Single vertices' noise falls below half after five passes (0.39 measured; the transfer function
 * over an even spectrum from 0 to 1.5 leaves 0.4), and the radius stays: noise of 0.05 mm on 40 000
 * vertices has a mean of 0.0003. */
START_TEST(noise_goes_and_size_stays)
{
    struct smooth_report report;
    double mean, before_mean;
    struct mesh *rough = rough_sphere(50, 6, 0.05);
    double before = roughness(rough, 50, &before_mean);
    struct mesh *mesh = smoothed(rough, 5, 1, &report);
    ck_assert_double_le(roughness(mesh, 50, &mean), 0.45 * before);
    ck_assert_double_eq_tol(mean, before_mean, 0.0005);
    ck_assert_double_eq_tol(shape_count(mesh).volume, shape_count(rough).volume,
                            1e-6 * shape_count(rough).volume);
    ck_assert_double_le(fabs(report.grown), 1e-6);
    mesh_free(mesh);
    mesh_free(rough);
}
END_TEST

/* Round the tube there are 24 edges, a wave of frequency k = 1 - cos(2 pi / 24) = 0.034: if each
 * pass only drew it together, a hundred would leave (1 - 0.65 k)^100, a tenth of the tube. */
START_TEST(many_passes_do_not_shrink)
{
    struct smooth_report report;
    struct mesh *torus = shape_torus(40, 10, 96, 24);
    struct shape_count before = shape_count(torus);
    struct mesh *mesh = smoothed(torus, 100, 1, &report);
    double across = 0, up = 0;
    for (size_t v = 0; v < mesh_vertices(mesh); v++) {
        struct point p = mesh_point(mesh)[v];
        across = fmax(across, hypot((double)p.x, (double)p.y));
        up = fmax(up, fabs((double)p.z));
    }
    ck_assert_double_eq_tol(across, 50, 0.25);
    ck_assert_double_eq_tol(up, 10, 0.25);
    ck_assert_double_eq_tol(shape_count(mesh).volume, before.volume, 1e-5 * before.volume);
    mesh_free(mesh);
    mesh_free(torus);
}
END_TEST

static double rough_height(double x, double y)
{
    uint64_t state = (uint64_t)(1e6 * x) * 7919 + (uint64_t)(1e6 * y);
    return 0.05 * bell(&state);
}

START_TEST(boundary_stays)
{
    struct smooth_report report;
    const size_t n = 30;
    struct mesh *sheet = shape_patch(10, 30, rough_height), *mesh;
    mesh = smoothed(sheet, 5, 1, &report);
    ck_assert_uint_eq(report.kept, 4 * n);
    size_t moved = 0;
    double before = 0, after = 0;
    for (size_t v = 0; v < mesh_vertices(mesh); v++) {
        struct point a = mesh_point(sheet)[v], b = mesh_point(mesh)[v];
        bool edge = v / (n + 1) % n == 0 || v % (n + 1) % n == 0;
        if (edge)
            ck_assert_int_eq(memcmp(&a, &b, sizeof a), 0);
        moved += memcmp(&a, &b, sizeof a) != 0;
        before += (double)a.z * (double)a.z;
        after += (double)b.z * (double)b.z;
    }
    ck_assert_uint_eq(moved, (n - 1) * (n - 1));
    ck_assert_double_le(after,
                        0.4 * before); /* squares: of them 0.16, and the edge keeps its own */
    mesh_free(mesh);
    mesh_free(sheet);
}
END_TEST

START_TEST(flat_stays_flat_and_even)
{
    struct smooth_report report;
    struct mesh *sheet = shape_patch(10, 20, NULL), *mesh = smoothed(sheet, 20, 1, &report);
    ck_assert_double_le(report.largest, 1e-5);
    for (size_t v = 0; v < mesh_vertices(mesh); v++)
        ck_assert_float_eq(mesh_point(mesh)[v].z, 0);
    mesh_free(mesh);
    mesh_free(sheet);
}
END_TEST

START_TEST(report_is_what_was_done)
{
    struct smooth_report report;
    struct mesh *rough = rough_sphere(10, 4, 0.02), *mesh = smoothed(rough, 3, 0.5, &report);
    double sum = 0, largest = 0;
    struct vec at = vec(0, 0, 0);
    for (size_t v = 0; v < mesh_vertices(mesh); v++) {
        double d =
            vec_length(vec_sub(point_vec(mesh_point(mesh)[v]), point_vec(mesh_point(rough)[v])));
        sum += d * d;
        at = d > largest ? point_vec(mesh_point(rough)[v]) : at;
        largest = fmax(largest, d);
    }
    ck_assert(vec_length(vec_sub(report.at, at)) == 0);
    ck_assert_double_eq_tol(report.largest, largest, 1e-12);
    ck_assert_double_eq_tol(report.rms, sqrt(sum / (double)mesh_vertices(mesh)), 1e-12);
    ck_assert_uint_eq(report.kept, 0);
    mesh_free(mesh);
    mesh_free(rough);
}
END_TEST

/* All but the points is shared with the input, which stays as it was. */
START_TEST(only_points_are_new)
{
    struct smooth_report report;
    struct mesh *rough = rough_sphere(10, 3, 0.02), *copy = shape_sphere(10, 3);
    ck_assert_ptr_nonnull(mesh_attribute_new(rough, ATTRIBUTE_colour));
    rough->origin[2] = 5e5;
    memset(rough->attribute[ATTRIBUTE_colour]->data, 7, 4 * mesh_vertices(rough));
    memcpy(mesh_point_edit(copy), mesh_point(rough), array_bytes(rough->point));
    struct mesh *mesh = smoothed(rough, 5, 1, &report);
    ck_assert_ptr_eq(mesh->triangle, rough->triangle);
    ck_assert_ptr_eq(mesh->attribute[ATTRIBUTE_colour], rough->attribute[ATTRIBUTE_colour]);
    ck_assert_ptr_ne(mesh->point, rough->point);
    ck_assert_double_eq(mesh->origin[2], 5e5);
    ck_assert_int_eq(memcmp(mesh_point(copy), mesh_point(rough), array_bytes(rough->point)), 0);
    mesh_free(mesh);
    mesh_free(copy);
    mesh_free(rough);
}
END_TEST

START_TEST(same_bytes_whatever_the_threads)
{
    const struct smooth_options options = {5, 1};
    struct mesh *rough = rough_sphere(10, 5, 0.02), *first = NULL;
    for (int threads = 1; threads <= 3; threads++) {
        struct smooth_report report;
        struct mesh *mesh;
        struct job job;
        job_init(&job);
        job.threads = threads;
        ck_assert_int_eq(smooth_mesh(rough, &options, &mesh, &report, &job), STATUS_OK);
        if (!first)
            first = mesh_share(mesh);
        ck_assert_int_eq(memcmp(mesh_point(mesh), mesh_point(first), array_bytes(first->point)), 0);
        mesh_free(mesh);
        job_release(&job);
    }
    mesh_free(first);
    mesh_free(rough);
}
END_TEST

/* Faults of all kinds: nothing but finite points comes out, and what cannot be smoothed stays. */
START_TEST(wrecks_stay_finite)
{
    for (int i = 0; i < 60; i++) {
        struct smooth_report report;
        struct mesh *bad = wreck(i), *mesh = smoothed(bad, 5, 1, &report);
        for (size_t v = 0; v < mesh_vertices(mesh); v++) {
            struct point p = mesh_point(mesh)[v];
            ck_assert(isfinite(p.x) && isfinite(p.y) && isfinite(p.z));
        }
        mesh_free(mesh);
        mesh_free(bad);
    }
}
END_TEST

START_TEST(huge_and_tiny_coordinates)
{
    static const double size[] = {1e-30, 1e-12, 1e12, 1e30};
    struct smooth_report report;
    struct mesh *rough = rough_sphere(size[_i], 4, 0.01 * size[_i]);
    struct mesh *mesh = smoothed(rough, 5, 1, &report);
    double mean, before = roughness(rough, size[_i], &mean);
    ck_assert_double_le(roughness(mesh, size[_i], &mean), 0.6 * before);
    mesh_free(mesh);
    mesh_free(rough);
}
END_TEST

START_TEST(nothing_to_smooth_is_shared)
{
    struct smooth_report report;
    struct mesh *empty = mesh_new(0, 0), *mesh = smoothed(empty, 5, 1, &report);
    ck_assert_ptr_eq(mesh, empty);
    mesh_free(mesh);
    mesh_free(empty);
    struct mesh *sphere = shape_sphere(10, 1);
    mesh = smoothed(sphere, 0, 1, &report);
    ck_assert_ptr_eq(mesh, sphere);
    mesh_free(mesh);
    mesh_free(sphere);
}
END_TEST

START_TEST(cancel_is_answered_soon)
{
    const struct smooth_options options = {1000, 1};
    struct smooth_report report;
    struct mesh *sphere = shape_sphere(10, 6), *out = NULL;
    struct job job;
    struct cancelling c = {.job = &job, .from = 0.3};
    while (cancelling_again(&c))
        ck_assert_int_eq(smooth_mesh(sphere, &options, &out, &report, &job), STATUS_CANCELLED);
    mesh_free(sphere);
}
END_TEST

Suite *suite_smooth(void);
Suite *suite_smooth(void)
{
    Suite *suite = suite_create("smooth");
    TCase *tcase = tcase_create("smooth");
    tcase_set_timeout(tcase, 120);
    tcase_add_test(tcase, noise_goes_and_size_stays);
    tcase_add_test(tcase, many_passes_do_not_shrink);
    tcase_add_test(tcase, boundary_stays);
    tcase_add_test(tcase, flat_stays_flat_and_even);
    tcase_add_test(tcase, report_is_what_was_done);
    tcase_add_test(tcase, only_points_are_new);
    tcase_add_test(tcase, same_bytes_whatever_the_threads);
    tcase_add_test(tcase, wrecks_stay_finite);
    tcase_add_loop_test(tcase, huge_and_tiny_coordinates, 0, 4);
    tcase_add_test(tcase, nothing_to_smooth_is_shared);
    tcase_add_test(tcase, cancel_is_answered_soon);
    suite_add_tcase(suite, tcase);
    return suite;
}
