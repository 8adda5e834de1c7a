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

/* The same of points of one scan: above z = 0 the one has nine times the other's confidence, below
 * it is the other way round. */
START_TEST(confidence_counts_by_the_point)
{
    struct scans scans = {{shape_sphere(9, 5), shape_sphere(9.1, 5)}, 2};
    const struct fuse_options options = {.closed = true};
    struct fuse_report report;
    for (int i = 0; i < 2; i++) {
        float *confidence = mesh_attribute_new(scans.mesh[i], ATTRIBUTE_confidence);
        for (size_t v = 0; v < mesh_vertices(scans.mesh[i]); v++)
            confidence[v] = (mesh_point(scans.mesh[i])[v].z > 0) == (i == 0) ? 0.9f : 0.1f;
    }
    struct mesh *mesh = scans_fused(&scans, &options, &report);
    scans_check_solid(mesh);
    double sum[2] = {0}, count[2] = {0};
    for (size_t v = 0; v < mesh_vertices(mesh); v++) {
        struct vec p = mesh_world(mesh, point_vec(mesh_point(mesh)[v]));
        if (fabs(p.z) < 1)
            continue;
        sum[p.z < 0] += vec_length(p);
        count[p.z < 0]++;
    }
    ck_assert_double_eq_tol(sum[0] / count[0], 9.01, 0.004);
    ck_assert_double_eq_tol(sum[1] / count[1], 9.09, 0.004);
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

static void paint_all(struct mesh *mesh, const uint8_t rgb[3])
{
    uint8_t(*colour)[4] = mesh_attribute_new(mesh, ATTRIBUTE_colour);
    for (size_t v = 0; v < mesh_vertices(mesh); v++) {
        memcpy(colour[v], rgb, 3);
        colour[v][3] = 255;
    }
}

/* The mean of a colour's channel around a direction from the ball's middle. */
static double channel_at(const struct mesh *mesh, struct vec from, int channel)
{
    const uint8_t *colour = mesh_attribute(mesh, ATTRIBUTE_colour);
    double sum = 0, count = 0;
    for (size_t v = 0; v < mesh_vertices(mesh); v++) {
        struct vec p = mesh_world(mesh, point_vec(mesh_point(mesh)[v]));
        if (vec_dot(vec_unit(p), from) < 0.998)
            continue;
        sum += (double)colour[4 * v + (size_t)channel];
        count++;
    }
    ck_assert_double_gt(count, 5);
    return sum / count;
}

static struct scans two_views_square_to_each_other(void)
{
    struct scanner first = {.from = {1, 0, 0}, .spacing = 0.3, .radius = 12};
    struct scanner second = {.from = {0, 0, 1}, .spacing = 0.3, .radius = 12};
    return (struct scans){{scanner_view(small_ball, &first), scanner_view(small_ball, &second)}, 2};
}

/* Two views square to each other, one sees all red, the other all blue. A colour counts by the
 * square of how squarely it was seen and by the weight of its place, another cosine: by the cube of
 * the cosine to the view. So 25 degrees from the one's axis it has 91 parts of 100. */
START_TEST(the_square_view_colours_more)
{
    static const uint8_t red[3] = {200, 40, 40}, blue[3] = {40, 40, 200};
    struct scans scans = two_views_square_to_each_other();
    const struct fuse_options options = {.closed = false};
    struct fuse_report report;
    paint_all(scans.mesh[0], red);
    paint_all(scans.mesh[1], blue);
    struct mesh *mesh = scans_fused(&scans, &options, &report);
    for (int degrees = 25; degrees <= 65; degrees += 20) {
        double angle = degrees / 57.29578, c = cos(angle), s = sin(angle);
        double first = c * c * c, second = s * s * s;
        double share = first / (first + second), found = channel_at(mesh, vec(c, 0, s), 0);
        ck_assert_double_eq_tol((found - 40) / 160, share, 0.05);
    }
    mesh_free(mesh);
    scans_free(&scans);
}
END_TEST

/* Light mirrored into one camera: a white spot 8 degrees about the place that it sees at 30 degrees
 * and the other at 60. Though the first sees it more squarely, the spot goes. */
START_TEST(glare_colours_less)
{
    static const uint8_t red[3] = {200, 40, 40};
    const struct vec spot = vec(0.8660254, 0, 0.5);
    struct scans scans = two_views_square_to_each_other();
    const struct fuse_options options = {.closed = false};
    struct fuse_report report;
    paint_all(scans.mesh[0], red);
    paint_all(scans.mesh[1], red);
    uint8_t(*colour)[4] = scans.mesh[0]->attribute[ATTRIBUTE_colour]->data;
    for (size_t v = 0; v < mesh_vertices(scans.mesh[0]); v++)
        if (vec_dot(vec_unit(point_vec(mesh_point(scans.mesh[0])[v])), spot) > cos(8 / 57.29578))
            memset(colour[v], 255, 3);
    struct mesh *mesh = scans_fused(&scans, &options, &report);
    ck_assert_double_eq_tol(channel_at(mesh, spot, 1), 40, 3); /* 255 in the spot */
    ck_assert_double_eq_tol(channel_at(mesh, spot, 0), 200, 3);
    mesh_free(mesh);
    scans_free(&scans);
}
END_TEST

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
    tcase_add_test(all, confidence_counts_by_the_point);
    tcase_add_test(all, square_views_count);
    tcase_add_test(all, the_square_view_colours_more);
    tcase_add_test(all, glare_colours_less);
    tcase_add_test(all, colours_come_along);
    tcase_add_test(all, invented_places_are_coloured_too);
    suite_add_tcase(suite, all);
    return suite;
}
