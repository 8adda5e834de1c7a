/* Filling holes. What is left of edges and triangles is counted by shape_count, which knows nothing
 * of the library. */
#include <check.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "core/job.h"
#include "surface/fill.h"
#include "tests/support/holes.h"
#include "tests/support/shapes.h"

/* --- shapes with known answers ------------------------------------------------------------ */

/* A cap of half-angle a = 0.3 is missing from a sphere, R = 10. Where a disc bends least and meets
 * its rim at the slope tan a, it is a paraboloid, deeper than the cap by
 * R (sin a tan a / 2 - (1 - cos a)) = R a^4 / 8 and a higher term: 0.011 here. Chords of the
 * sphere's edges, 0.17 long, and the ragged rim (corners up to one edge within the angle) take part
 * of the slope: 0.17 * tan a / 2 = 0.026. Measured: 0.016. */
START_TEST(cap_of_a_sphere_is_round)
{
    struct fill_report report;
    struct mesh *open = holes_cut(shape_sphere(10, 6), holes_in_cap);
    size_t old = mesh_vertices(open), dropped = 20 * 4096 - mesh_triangles(open);
    struct mesh *mesh = holes_filled(open, FILL_SMOOTH, 0, &report);
    double worst = 0;
    for (size_t v = old; v < mesh_vertices(mesh); v++)
        worst = fmax(worst, fabs(vec_length(point_vec(mesh_point(mesh)[v])) - 10));
    ck_assert_double_le(worst, 0.037);
    holes_expect_closed(mesh, 2);
    ck_assert_uint_eq(report.filled, 1);
    ck_assert_uint_eq(report.rough, 0);
    /* As dense as the surface was. */
    ck_assert_uint_ge(report.triangles, dropped * 8 / 10);
    ck_assert_uint_le(report.triangles, dropped * 12 / 10);
    mesh_free(mesh);
}
END_TEST

static double drop_above;

static bool is_above(const struct mesh *mesh, size_t t)
{
    return holes_centre(mesh, t).z > drop_above;
}

/* Less than half, half, 65 % and 80 % of a sphere of radius 10 are missing. Bending least would
 * close the half with a dome 3.8 mm too low; curvature spread evenly makes it a sphere again, on
 * which the mean curvature is the same everywhere. What is left is the slope that the rim's chords
 * (0.35 mm) give wrong by half their angle, 0.0175, over 10 mm: 0.18. Measured: 0.03, 0.11, 0.16,
 * 0.20. */
START_TEST(most_of_a_sphere_becomes_whole)
{
    static const double above[] = {6, 0.4, -3, -6};
    struct fill_report report;
    drop_above = above[_i];
    struct mesh *open = holes_cut(shape_sphere(10, 5), is_above);
    size_t old = mesh_vertices(open);
    struct mesh *mesh = holes_filled(open, FILL_SMOOTH, 0, &report);
    double worst = 0;
    for (size_t v = old; v < mesh_vertices(mesh); v++)
        worst = fmax(worst, fabs(vec_length(point_vec(mesh_point(mesh)[v])) - 10));
    ck_assert_double_le(worst, 0.25);
    ck_assert_uint_eq(report.rough, 0);
    holes_expect_closed(mesh, 2);
    mesh_free(mesh);
}
END_TEST

static bool in_face(const struct mesh *mesh, size_t t)
{
    struct vec c = holes_centre(mesh, t);
    return c.z == 6 && fabs(c.x - 5) < 3 && fabs(c.y - 4) < 2 + (c.x > 5 ? 1 : 0);
}

START_TEST(hole_in_a_flat_face_is_filled_in_its_plane)
{
    struct fill_report report;
    struct mesh *box = shape_box(10, 8, 6, 20);
    struct shape_count whole = shape_count(box);
    struct mesh *open = holes_cut(box, in_face);
    size_t old = mesh_triangles(open);
    struct mesh *mesh = holes_filled(open, _i ? FILL_SMOOTH : FILL_FLAT, 0, &report);
    for (size_t t = old; t < mesh_triangles(mesh); t++)
        for (int k = 0; k < 3; k++)
            ck_assert_float_eq((float)holes_corner(mesh, t, k).z, 6.0f);
    struct shape_count count = shape_count(mesh);
    holes_expect_closed(mesh, 2);
    ck_assert_double_eq_tol(count.area, whole.area, 1e-9 * whole.area);
    ck_assert_double_eq_tol(count.volume, whole.volume, 1e-9 * whole.volume);
    if (!_i)
        ck_assert_uint_eq(report.vertices, 0);
    else
        ck_assert_uint_gt(report.vertices, 0);
    mesh_free(mesh);
}
END_TEST

static bool in_slice(const struct mesh *mesh, size_t t)
{
    struct vec c = holes_centre(mesh, t);
    return fabs(atan2(c.y, c.x)) < 0.4;
}

/* A torus cut through twice is a bent tube with two ends: closed, it is a sphere to topology. */
START_TEST(cut_torus_is_closed_at_both_ends)
{
    struct fill_report report;
    struct mesh *mesh = holes_filled(holes_cut(shape_torus(40, 10, 96, 48), in_slice),
                                     _i ? FILL_SMOOTH : FILL_FLAT, 0, &report);
    ck_assert_uint_eq(report.filled, 2);
    holes_expect_closed(mesh, 2);
    ck_assert_double_gt(shape_count(mesh).volume, 0);
    mesh_free(mesh);
}
END_TEST

static bool in_dent(const struct mesh *mesh, size_t t)
{
    struct vec c = holes_centre(mesh, t);
    return hypot(c.x - 40, c.z - 8) < 6 && c.x > 40;
}

START_TEST(filling_keeps_the_genus)
{
    struct fill_report report;
    struct mesh *mesh =
        holes_filled(holes_cut(shape_torus(40, 10, 96, 48), in_dent), FILL_SMOOTH, 0, &report);
    holes_expect_closed(mesh, 0);
    mesh_free(mesh);
}
END_TEST

/* --- the mesh as a whole ------------------------------------------------------------------ */

/* Without joined vertices there is no connectivity: they are joined first. */
START_TEST(loose_triangles_are_joined_first)
{
    struct fill_report report;
    struct mesh *sphere = holes_cut(shape_sphere(10, 2), holes_in_cap);
    size_t count = mesh_triangles(sphere);
    struct mesh *soup = mesh_new(3 * count, count);
    for (uint32_t i = 0; i < 3 * count; i++) {
        mesh_point_edit(soup)[i] = mesh_point(sphere)[mesh_triangle(sphere)[i / 3].v[i % 3]];
        mesh_triangle_edit(soup)[i / 3].v[i % 3] = i;
    }
    mesh_free(sphere);
    struct mesh *mesh = holes_filled(soup, FILL_SMOOTH, 0, &report);
    ck_assert_uint_eq(report.filled, 1);
    holes_expect_closed(mesh, 2);
    mesh_free(mesh);
}
END_TEST

/* A flat sheet's outer edge filled lies on the sheet itself; still no two vertices are in one
 * place, as `joined` promises. */
START_TEST(joined_stays_true)
{
    struct fill_report report;
    struct mesh *mesh = holes_filled(shape_patch(8, 8, NULL), FILL_SMOOTH, 0, &report);
    ck_assert(mesh->joined);
    for (size_t i = 0; i < mesh_vertices(mesh); i++)
        for (size_t k = 0; k < i; k++)
            ck_assert(memcmp(mesh_point(mesh) + i, mesh_point(mesh) + k, sizeof(struct point)) !=
                      0);
    mesh_free(mesh);
}
END_TEST

START_TEST(old_parts_keep_their_places)
{
    struct fill_report report;
    struct mesh *open = holes_cut(shape_sphere(10, 4), holes_in_cap), *mesh;
    open->origin[1] = 1e6;
    struct mesh *held = mesh_share(open);
    mesh = holes_filled(open, FILL_SMOOTH, 0, &report);
    ck_assert_double_eq(mesh->origin[1], 1e6);
    ck_assert_int_eq(memcmp(mesh_point(mesh), mesh_point(held), array_bytes(held->point)), 0);
    ck_assert_int_eq(memcmp(mesh_triangle(mesh), mesh_triangle(held), array_bytes(held->triangle)),
                     0);
    const uint8_t *origin = mesh_attribute(mesh, ATTRIBUTE_origin);
    for (size_t t = 0; t < mesh_triangles(mesh); t++)
        ck_assert_uint_eq(origin[t], t < mesh_triangles(held) ? ORIGIN_MEASURED : ORIGIN_INVENTED);
    ck_assert_uint_eq(report.triangles, mesh_triangles(mesh) - mesh_triangles(held));
    double area = 0;
    for (size_t t = mesh_triangles(held); t < mesh_triangles(mesh); t++)
        area += vec_length(vec_cross(vec_sub(holes_corner(mesh, t, 1), holes_corner(mesh, t, 0)),
                                     vec_sub(holes_corner(mesh, t, 2), holes_corner(mesh, t, 0)))) /
                2;
    ck_assert_double_eq_tol(report.area, area, 1e-9 * area);
    ck_assert_double_eq_tol(report.share, area / shape_count(mesh).area, 1e-9);
    mesh_free(held);
    mesh_free(mesh);
}
END_TEST

/* Colour that grows evenly from left to right goes on doing so: such a colour is its neighbours'
 * mean already. */
START_TEST(colour_is_spread_from_the_rim)
{
    struct fill_report report;
    struct mesh *open = holes_cut(shape_patch(10, 40, NULL), holes_in_middle);
    uint8_t(*colour)[4] = mesh_attribute_new(open, ATTRIBUTE_colour);
    for (size_t v = 0; v < mesh_vertices(open); v++) {
        uint8_t level = (uint8_t)(20 * (double)mesh_point(open)[v].x + 0.5);
        memcpy(colour[v], (uint8_t[4]){level, (uint8_t)(255 - level), 40, 255}, 4);
    }
    struct mesh *mesh = holes_filled(open, FILL_SMOOTH, 20, &report);
    const uint8_t(*c)[4] = (const uint8_t(*)[4])mesh_attribute(mesh, ATTRIBUTE_colour);
    ck_assert_uint_gt(report.vertices, 50);
    for (size_t v = mesh_vertices(mesh) - report.vertices; v < mesh_vertices(mesh); v++) {
        ck_assert_double_eq_tol(c[v][0], 20 * (double)mesh_point(mesh)[v].x, 2);
        ck_assert_double_eq_tol(c[v][1], 255 - 20 * (double)mesh_point(mesh)[v].x, 2);
        ck_assert_uint_eq(c[v][2], 40);
        ck_assert_uint_eq(c[v][3], 255);
    }
    mesh_free(mesh);
}
END_TEST

/* A sphere with many holes of all sizes. */
static bool in_holes(const struct mesh *mesh, size_t t)
{
    struct vec c = vec_unit(holes_centre(mesh, t));
    for (uint64_t i = 0, state = 5; i < 40; i++) {
        double u = 2 * shape_random(&state) - 1, a = 6.283185307179586 * shape_random(&state);
        double s = sqrt(1 - u * u), size = 0.02 + 0.1 * shape_random(&state);
        if (vec_length(vec_sub(c, vec(s * cos(a), s * sin(a), u))) < size)
            return true;
    }
    return false;
}

START_TEST(same_bytes_whatever_the_threads)
{
    const struct fill_options options = {.shape = FILL_SMOOTH};
    struct mesh *open = holes_cut(shape_sphere(10, 6), in_holes), *first = NULL;
    uint8_t *colour = mesh_attribute_new(open, ATTRIBUTE_colour);
    for (size_t i = 0; i < 4 * mesh_vertices(open); i++)
        colour[i] = (uint8_t)(i * i);
    for (int threads = 1; threads <= 3; threads++) {
        struct fill_report report;
        struct mesh *mesh;
        struct job job;
        job_init(&job);
        job.threads = threads;
        ck_assert_int_eq(fill_holes(open, &options, &mesh, &report, &job), STATUS_OK);
        ck_assert_uint_ge(report.filled, 20);
        holes_expect_closed(mesh, 2);
        if (!first)
            first = mesh_share(mesh);
        ck_assert_uint_eq(mesh_vertices(mesh), mesh_vertices(first));
        ck_assert_uint_eq(mesh_triangles(mesh), mesh_triangles(first));
        ck_assert_int_eq(memcmp(mesh_point(mesh), mesh_point(first), array_bytes(first->point)), 0);
        ck_assert_int_eq(
            memcmp(mesh_triangle(mesh), mesh_triangle(first), array_bytes(first->triangle)), 0);
        ck_assert_int_eq(memcmp(mesh_attribute(mesh, ATTRIBUTE_colour),
                                mesh_attribute(first, ATTRIBUTE_colour),
                                array_bytes(first->attribute[ATTRIBUTE_colour])),
                         0);
        mesh_free(mesh);
        job_release(&job);
    }
    mesh_free(first);
    mesh_free(open);
}
END_TEST

static TCase *shapes_case(void)
{
    TCase *tcase = tcase_create("shapes");
    tcase_set_timeout(tcase, 60);
    tcase_add_test(tcase, cap_of_a_sphere_is_round);
    tcase_add_loop_test(tcase, most_of_a_sphere_becomes_whole, 0, 4);
    tcase_add_loop_test(tcase, hole_in_a_flat_face_is_filled_in_its_plane, 0, 2);
    tcase_add_loop_test(tcase, cut_torus_is_closed_at_both_ends, 0, 2);
    tcase_add_test(tcase, filling_keeps_the_genus);
    return tcase;
}

Suite *suite_fill(void);
Suite *suite_fill(void)
{
    Suite *suite = suite_create("fill");
    suite_add_tcase(suite, shapes_case());
    TCase *tcase = tcase_create("mesh");
    tcase_set_timeout(tcase, 120);
    tcase_add_test(tcase, loose_triangles_are_joined_first);
    tcase_add_test(tcase, joined_stays_true);
    tcase_add_test(tcase, old_parts_keep_their_places);
    tcase_add_test(tcase, colour_is_spread_from_the_rim);
    tcase_add_test(tcase, same_bytes_whatever_the_threads);
    suite_add_tcase(suite, tcase);
    return suite;
}
