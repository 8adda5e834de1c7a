/* Fusing: what counts more than other things, for place and for colour. */
#include <check.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "tests/support/scans.h"
#include "tests/support/shapes.h"

/* Two scans that disagree by 0.1 mm: the one of nine times the confidence has nine times the say.
 */
START_TEST(confidence_counts)
{
    struct scans scans = {{shape_sphere(9, 5), shape_sphere(9.1, 5)}, 2};
    const struct fuse_options options = {.closed = true};
    struct fuse_report report;
    for (int i = 0; i < 2; i++) {
        float *confidence = mesh_attribute_new(scans.mesh[i], ATTRIBUTE_confidence);
        for (size_t v = 0; v < mesh_vertices(scans.mesh[i]); v++)
            confidence[v] = i == 0 ? 0.9f : 0.1f;
    }
    struct mesh *mesh = scans_fused(&scans, &options, &report);
    scans_check_solid(mesh);
    double sum = 0;
    for (size_t v = 0; v < mesh_vertices(mesh); v++)
        sum += vec_length(mesh_world(mesh, point_vec(mesh_point(mesh)[v])));
    ck_assert_double_eq_tol(sum / (double)mesh_vertices(mesh), 9.01, 0.004);
    mesh_free(mesh);
    scans_free(&scans);
}
END_TEST

static double larger_ball(struct vec p)
{
    return vec_length(p) - 9.1;
}

/* Two views square to each other that disagree by 0.1 mm. 30 degrees from one view's axis and 60
 * from the other's, the cosines stand as sqrt(3) to 1, and so do the samples an area: 3 to 1 is
 * what each has to say. */
START_TEST(square_views_count)
{
    struct scanner first = {.from = {1, 0, 0}, .spacing = 0.3, .radius = 12};
    struct scanner second = {.from = {0, 0, 1}, .spacing = 0.3, .radius = 12};
    struct scans scans = {{scanner_view(small_ball, &first), scanner_view(larger_ball, &second)},
                          2};
    const struct fuse_options options = {.closed = false};
    struct fuse_report report;
    struct mesh *mesh = scans_fused(&scans, &options, &report);
    double sum[2] = {0}, count[2] = {0};
    for (size_t v = 0; v < mesh_vertices(mesh); v++) {
        struct vec p = mesh_world(mesh, point_vec(mesh_point(mesh)[v]));
        double r = vec_length(p), to_first = acos(p.x / r) * 57.29578;
        bool between = fabs(p.y) < 2 && p.x > 0 && p.z > 0;
        for (int i = 0; i < 2; i++)
            if (between && fabs(to_first - (i == 0 ? 30 : 60)) < 5) {
                sum[i] += r;
                count[i]++;
            }
    }
    ck_assert(count[0] > 20 && count[1] > 20);
    ck_assert_double_eq_tol(sum[0] / count[0], 9.025, 0.008);
    ck_assert_double_eq_tol(sum[1] / count[1], 9.075, 0.008);
    mesh_free(mesh);
    scans_free(&scans);
}
END_TEST

/* --- colour ----------------------------------------------------------------------------------- */

/* Whether a scan sees the place well, and without glare. */
static bool seen_well(struct vec p)
{
    for (int i = 0; i < SCANS_VIEWS; i++) {
        double square = vec_dot(vec_unit(p), scans_from[i]);
        if (square > 0.35 && square < 0.85)
            return true;
    }
    return false;
}

/* The upper half is red, the lower blue; each scan has a white spot where its light is mirrored.
 * The colours come along, the spots do not where another scan saw the place without. */
START_TEST(colours_come_along)
{
    struct scans scans = scans_of(small_ball, 0.4, 0.02, SCANS_VIEWS);
    const struct fuse_options options = {.closed = true};
    struct fuse_report report;
    for (size_t i = 0; i < SCANS_VIEWS; i++)
        scans_paint(scans.mesh[i], scans_from[i], true);
    struct mesh *mesh = scans_fused(&scans, &options, &report);
    const uint8_t *colour = mesh_attribute(mesh, ATTRIBUTE_colour);
    ck_assert_ptr_nonnull(colour);
    for (size_t v = 0; v < mesh_vertices(mesh); v++) {
        struct vec p = point_vec(mesh_point(mesh)[v]);
        const uint8_t *c = colour + 4 * v;
        if (fabs(p.z) > 1 && seen_well(p))
            ck_assert_msg(abs(c[0] - (p.z > 0 ? 200 : 40)) < 12 &&
                              abs(c[2] - (p.z > 0 ? 40 : 200)) < 12 && c[3] == 255,
                          "%d %d %d at %g %g %g", c[0], c[1], c[2], p.x, p.y, p.z);
    }
    mesh_free(mesh);
    scans_free(&scans);
}
END_TEST

/* Where no scan saw, the colour is that of the rim. */
START_TEST(invented_places_are_coloured_too)
{
    struct scans scans = scans_of(small_ball, 0.4, 0.02, 1);
    const struct fuse_options options = {.closed = true};
    struct fuse_report report;
    scans_paint(scans.mesh[0], scans_from[0], false);
    struct mesh *mesh = scans_fused(&scans, &options, &report);
    const uint8_t *colour = mesh_attribute(mesh, ATTRIBUTE_colour);
    for (size_t v = 0; v < mesh_vertices(mesh); v++) {
        ck_assert_int_eq(colour[4 * v + 1], 40);
        ck_assert_int_eq(colour[4 * v + 3], 255);
        ck_assert_int_eq(colour[4 * v] + colour[4 * v + 2], 240);
    }
    mesh_free(mesh);
    scans_free(&scans);
}
END_TEST

Suite *suite_fuse_weights(void);
Suite *suite_fuse_weights(void)
{
    Suite *suite = suite_create("fuse_weights");
    TCase *all = tcase_create("all");
    tcase_set_timeout(all, 60);
    tcase_add_test(all, confidence_counts);
    tcase_add_test(all, square_views_count);
    tcase_add_test(all, colours_come_along);
    tcase_add_test(all, invented_places_are_coloured_too);
    suite_add_tcase(suite, all);
    return suite;
}
