/* Fusing: what no scan saw. */
#include <check.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "core/topology.h"
#include "tests/support/scans.h"
#include "tests/support/shapes.h"
#include "tests/support/sound.h"

/* Drop-outs that no scan saw are closed smoothly: a round hole of 1.5 mm in a ball of 9 mm is
 * filled to within a tenth of what a flat lid would miss, 1.5^2 / 18 = 0.125 mm. */
static bool in_hole(const struct mesh *mesh, size_t t)
{
    struct vec p = point_vec(mesh_point(mesh)[mesh_triangle(mesh)[t].v[0]]);
    return vec_length(vec_sub(p, vec(0, 0, 9))) < 1.5;
}

START_TEST(holes_are_closed_smoothly)
{
    struct scans scans = scans_of(small_ball, scans_spacing, 0, SCANS_VIEWS);
    for (size_t i = 0; i < scans.count; i++) {
        struct mesh *whole = scans.mesh[i];
        scans.mesh[i] = shape_without(whole, in_hole);
        mesh_free(whole);
    }
    const struct fuse_options options = {.closed = true};
    struct fuse_report report;
    struct mesh *mesh = scans_fused(&scans, &options, &report);
    scans_check_solid(mesh);
    struct scans_errors lid = scans_errors(mesh, small_ball, ORIGIN_INVENTED);
    ck_assert_double_gt(lid.share, 0.002);
    ck_assert_double_lt(lid.share, 3.1416 * 1.5 * 1.5 / (4 * 3.1416 * 9 * 9) * 1.2);
    ck_assert_double_le(lid.max, 0.0125);
    mesh_free(mesh);
    scans_free(&scans);
}
END_TEST
/* A flat rim gives a flat sole: an unseen sole within the walls that stand on it ends where they
 * do, without a lip beyond, and is as flat as the rim is straight. The walls are seen down to about
 * a spacing and a half above the floor. */
static double ell(struct vec p) /* two blocks that make an L */
{
    return fmin(small_cuboid(vec_sub(p, vec(-3, 0, 0)), vec(4, 8, 4)),
                small_cuboid(vec_sub(p, vec(2, -5, 0)), vec(6, 3, 4)));
}

static double column(struct vec p)
{
    return fmax(hypot(p.x, p.y) - 5, fabs(p.z) - 9);
}

static const struct sole {
    solid_distance solid;
    double floor; /* z */
} soles[] = {{small_box, -5}, {ell, -4}, {column, -9}, {small_plate, -0.6}};
enum { SOLES = sizeof soles / sizeof *soles };

START_TEST(unseen_soles_are_flat)
{
    const struct sole *sole = &soles[_i];
    struct scans scans = scans_from_above(sole->solid, scans_spacing, scans_noise);
    const struct fuse_options options = {.closed = true};
    struct fuse_report report;
    struct mesh *mesh = scans_fused(&scans, &options, &report);
    scans_check_solid(mesh);
    ck_assert_int_eq(shape_count(mesh).euler, 2);
    const uint8_t *origin = mesh_attribute(mesh, ATTRIBUTE_origin);
    for (size_t t = 0; t < mesh_triangles(mesh); t++)
        for (int k = 0; k < 3 && origin[t] == ORIGIN_INVENTED; k++) {
            double z = (double)mesh_point(mesh)[mesh_triangle(mesh)[t].v[k]].z + mesh->origin[2];
            ck_assert_double_gt(z, sole->floor - scans_spacing / 2);
        }
    struct scans_errors e = scans_errors(mesh, sole->solid, ORIGIN_INVENTED);
    ck_assert_double_gt(e.share, 0.08);
    ck_assert_double_lt(e.rms, 1.5 * scans_spacing);
    ck_assert_double_lt(scans_errors(mesh, sole->solid, ORIGIN_MEASURED).rms, 0.025);
    mesh_free(mesh);
    scans_free(&scans);
}
END_TEST

/* A hole in a ball whose flat lid would leave the rim at up to 30 degrees goes on as the ball does.
 * A lid would miss 9 (1 - cos 30) = 1.2 mm; the ball's cap is found to within a tenth of that. */
static bool in_wide_hole(const struct mesh *mesh, size_t t)
{
    struct vec p = point_vec(mesh_point(mesh)[mesh_triangle(mesh)[t].v[0]]);
    return vec_dot(vec_unit(p), vec(0, 0.6, 0.8)) > 0.883; /* cos 28 degrees */
}

START_TEST(round_holes_stay_round)
{
    struct scans scans = scans_of(small_ball, scans_spacing, 0.01, SCANS_VIEWS);
    for (size_t i = 0; i < scans.count; i++) {
        struct mesh *whole = scans.mesh[i];
        scans.mesh[i] = shape_without(whole, in_wide_hole);
        mesh_free(whole);
    }
    const struct fuse_options options = {.closed = true};
    struct fuse_report report;
    struct mesh *mesh = scans_fused(&scans, &options, &report);
    scans_check_solid(mesh);
    struct scans_errors e = scans_errors(mesh, small_ball, ORIGIN_INVENTED);
    ck_assert_double_gt(e.share, 0.05);
    ck_assert_double_lt(e.max, 0.12);
    mesh_free(mesh);
    scans_free(&scans);
}
END_TEST

/* The back of a flat sheet seen from one side cannot be the flattest surface that spans its rim:
 * that is the sheet. It stays clear of it. */
START_TEST(a_sheet_gets_a_body)
{
    struct scans scans = {.count = 1};
    const struct fuse_options options = {.closed = true};
    struct fuse_report report;
    scans.mesh[0] = shape_patch(16, 40, NULL);
    struct mesh *mesh = scans_fused(&scans, &options, &report);
    scans_check_solid(mesh);
    ck_assert_int_eq(shape_count(mesh).euler, 2);
    ck_assert_double_gt(shape_count(mesh).volume, 0.3 * 16 * 16);
    mesh_free(mesh);
    scans_free(&scans);
}
END_TEST

/* --- handles ---------------------------------------------------------------------------------- */

/* A bent plate with relief, seen obliquely from one side: at one threshold of the winding number
 * its invented back has handles. They are left out; the plate has none. */
START_TEST(invented_backs_have_no_handles)
{
    static const uint64_t number[] = {0, 1, 2, 5, 6};
    uint64_t n = number[_i], state = 307 + n;
    struct scans scans = {.count = 1};
    struct scanner scanner = {.from = scans_direction(&state),
                              .spacing = 1.2,
                              .noise = 0.06,
                              .roll = (double)n,
                              .radius = 80,
                              .seed = n};
    solids_vary(n / 3);
    scans.mesh[0] = scanner_view(solid_mask, &scanner);
    const struct fuse_options options = {.closed = true};
    struct fuse_report report;
    struct mesh *mesh = scans_fused(&scans, &options, &report);
    scans_check_solid(mesh);
    ck_assert_int_eq(shape_count(mesh).euler, 2 * (long)mesh_components(mesh, NULL)->count);
    ck_assert_uint_gt(report.handles.cut + report.handles.filled, 0);
    mesh_free(mesh);
    scans_free(&scans);
}
END_TEST

/* A hole that the scans look through is none of these: the inner side of a torus seen from two
 * sides stays open. */
START_TEST(measured_holes_stay)
{
    struct scans scans = scans_of(small_torus, scans_spacing, scans_noise, 4);
    const struct fuse_options options = {.closed = true};
    struct fuse_report report;
    struct mesh *mesh = scans_fused(&scans, &options, &report);
    scans_check_solid(mesh);
    ck_assert_double_gt(report.invented, 0);
    ck_assert_int_eq(shape_count(mesh).euler, 0);
    mesh_free(mesh);
    scans_free(&scans);
}
END_TEST

/* --- strays ----------------------------------------------------------------------------------- */

/* Points of the table, left where a rounded edge hangs over it: they face up against the edge, each
 * by itself. They make no surface, and the sole keeps its edge. */
static double pebble(struct vec p) /* a box with edges of 1.5 mm */
{
    return small_cuboid(p, vec(6.5, 4.5, 3.5)) - 1.5;
}

static struct mesh *with_table_points(const struct mesh *mesh)
{
    size_t n = mesh_vertices(mesh), more = 30;
    struct mesh *both = mesh_new(n + more, mesh_triangles(mesh));
    memcpy(mesh_point_edit(both), mesh_point(mesh), n * sizeof(struct point));
    uint64_t state = 7;
    for (size_t i = 0; i < more; i++) {
        double along = 12 * shape_random(&state) - 6, out = 7.2 + 0.3 * shape_random(&state);
        mesh_point_edit(both)[n + i] = vec_point(vec(i % 2 ? out : -out, along, -5.1));
    }
    return both;
}

START_TEST(lone_points_of_the_table_make_no_lip)
{
    struct scans scans = scans_of(pebble, scans_spacing, scans_noise, SCANS_VIEWS);
    const struct fuse_options options = {.closed = true};
    struct fuse_report report;
    /* the last scan is a cloud, whose normals are in it */
    struct mesh *view = scans.mesh[SCANS_VIEWS - 1], *cloud = with_table_points(view);
    struct point *normal = mesh_attribute_new(cloud, ATTRIBUTE_normal);
    const struct normals *known = mesh_normals(view, NULL);
    array_shrink(cloud->triangle, 0);
    for (size_t v = 0; v < mesh_vertices(cloud); v++)
        normal[v] = v < mesh_vertices(view) ? known->vertex[v] : (struct point){0, 0, 1};
    mesh_free(view);
    scans.mesh[SCANS_VIEWS - 1] = cloud;
    struct mesh *mesh = scans_fused(&scans, &options, &report);
    scans_check_solid(mesh);
    ck_assert_int_eq(shape_count(mesh).euler, 2);
    ck_assert_uint_ge(report.strays, 25);
    struct scans_errors e = scans_errors(mesh, pebble, ORIGIN_MEASURED);
    ck_assert_double_lt(e.high, 0.15);
    ck_assert_double_lt(e.rms, 0.02);
    ck_assert_double_lt(report.invented, 0.002 * report.area);
    mesh_free(mesh);
    scans_free(&scans);
}
END_TEST

static bool beyond_the_disc(const struct mesh *mesh, size_t t)
{
    bool beyond = false;
    for (int k = 0; k < 3; k++) {
        struct vec p = point_vec(mesh_point(mesh)[mesh_triangle(mesh)[t].v[k]]);
        beyond = beyond || hypot(p.x, p.y - 9) > 8.6;
    }
    return beyond;
}

/* Of a disc at z = 0 the half at x > 0, seen from below. */
static struct mesh *half_disc(void)
{
    struct mesh *square = shape_patch(18, 60, NULL), *disc = shape_without(square, beyond_the_disc);
    for (size_t v = 0; v < mesh_vertices(disc); v++)
        mesh_point_edit(disc)[v].y -= 9;
    for (size_t t = 0; t < mesh_triangles(disc); t++) {
        uint32_t *v = mesh_triangle_edit(disc)[t].v, swap = v[0];
        v[0] = v[1];
        v[1] = swap;
    }
    mesh_free(square);
    return disc;
}

/* A ball of 9 mm above z = 0, its flat side marked as made. */
static struct mesh *half_ball(void)
{
    struct mesh *half = shape_sphere(9, 5);
    for (size_t v = 0; v < mesh_vertices(half); v++)
        mesh_point_edit(half)[v].z = fmaxf(mesh_point(half)[v].z, 0);
    uint8_t *origin = mesh_attribute_new(half, ATTRIBUTE_origin);
    for (size_t t = 0; t < mesh_triangles(half); t++) {
        bool flat = true;
        for (int k = 0; k < 3; k++)
            flat = flat && mesh_point(half)[mesh_triangle(half)[t].v[k]].z == 0;
        origin[t] = flat ? ORIGIN_MADE : ORIGIN_MEASURED;
    }
    return half;
}

/* A half ball's flat side is pi r^2 of 3 pi r^2 (handbook: disc, half sphere). What another scan
 * saw of it was measured. */
START_TEST(caps_stay_known_as_made)
{
    for (int seen = 0; seen < 2; seen++) {
        struct scans scans = {{half_ball()}, 1};
        if (seen)
            scans.mesh[scans.count++] = half_disc();
        const struct fuse_options options = {.closed = true};
        struct fuse_report report;
        struct mesh *mesh = scans_fused(&scans, &options, &report);
        scans_check_solid(mesh);
        ck_assert_double_eq_tol(report.made / report.area, seen ? 1.0 / 6 : 1.0 / 3, 0.03);
        ck_assert_double_le(report.invented, 0.01 * report.area);
        const uint8_t *is = mesh_attribute(mesh, ATTRIBUTE_origin);
        size_t below = 0;
        for (size_t t = 0; t < mesh_triangles(mesh); t++) {
            struct point local = mesh_point(mesh)[mesh_triangle(mesh)[t].v[0]];
            struct vec p = mesh_world(mesh, point_vec(local));
            bool flat = hypot(p.x, p.y) < 8 && p.z < 1;
            bool measured = p.z > 1 || (flat && seen && p.x > 0.5);
            if (measured || (flat && (!seen || p.x < -0.5)))
                ck_assert_int_eq(is[t], measured ? ORIGIN_MEASURED : ORIGIN_MADE);
            below += flat;
        }
        ck_assert_uint_gt(below, 1000);
        mesh_free(mesh);
        scans_free(&scans);
    }
}
END_TEST

Suite *suite_fuse_invented(void);
Suite *suite_fuse_invented(void)
{
    Suite *suite = suite_create("fuse_invented");
    TCase *all = tcase_create("all");
    tcase_set_timeout(all, 60);
    tcase_add_test(all, holes_are_closed_smoothly);
    tcase_add_test(all, round_holes_stay_round);
    tcase_add_loop_test(all, unseen_soles_are_flat, 0, SOLES);
    tcase_add_test(all, a_sheet_gets_a_body);
    tcase_add_loop_test(all, invented_backs_have_no_handles, 0, 5);
    tcase_add_test(all, measured_holes_stay);
    tcase_add_test(all, caps_stay_known_as_made);
    tcase_add_test(all, lone_points_of_the_table_make_no_lip);
    suite_add_tcase(suite, all);
    return suite;
}
