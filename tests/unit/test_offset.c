/* Surfaces at a distance: against solids whose offsets are known, and for any shape the distance
 * itself, asked of the tree anew. Volumes of erosions and of growing boxes are elementary geometry
 * (Steiner's formula for the latter); of spheres and tori see trade-facts, section 5. */
#include <check.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "core/job.h"
#include "core/topology.h"
#include "core/tree.h"
#include "core/turn_over.h"
#include "solid/boolean.h"
#include "solid/judge.h"
#include "solid/offset.h"
#include "solid/place.h"
#include "tests/support/blocks.h"
#include "tests/support/cancelling.h"
#include "tests/support/carved.h"
#include "tests/support/shapes.h"
#include "tests/support/sound.h"

static const double pi = 3.14159265358979323846;

static struct mesh *offset(const struct mesh *mesh, double by, bool inward, double spacing,
                           int threads, struct offset_report *report)
{
    struct job job;
    struct mesh *out = NULL;
    struct offset_options options = {by, inward, spacing, false};
    job_init(&job);
    job.threads = threads;
    enum status status = offset_surface(mesh, &options, &out, report, &job);
    ck_assert_msg(status == STATUS_OK, "%s", job.message);
    job_release(&job);
    return out;
}

static double volume_of(const struct mesh *mesh)
{
    return shape_count(mesh).volume;
}

/* Closed, a manifold, without crossings, and nowhere nearer than it should: at its vertices and at
 * `places` anywhere on it. Returns the greatest distance met. */
static double expect_offset(const struct mesh *surface, const struct mesh *mesh, double by,
                            int places)
{
    const char *fault = sound_fault(surface);
    ck_assert_msg(!fault, "%s", fault);
    ck_assert_uint_eq(sound_crossings(surface), 0);
    double most, least = sound_least_distance(surface, mesh, places, &most);
    ck_assert_double_ge(least, by - OFFSET_SLACK - 1e-5);
    return most;
}

/* It is as far as it says where it says, and proved to be no farther than that and a little. */
static void expect_told(const struct mesh *mesh, const struct offset_report *r, double by)
{
    struct vec at = mesh_local(mesh, r->at);
    double met = tree_nearest(mesh_tree(mesh, NULL), at, INFINITY).distance;
    ck_assert_double_eq_tol(met, r->most, 1e-4);
    ck_assert_double_eq_tol(r->even, by + fmax(0.04 * by, OFFSET_SLACK), 1e-9);
    ck_assert_double_le(r->most, r->bound);
    ck_assert_double_le(r->bound, fmax(r->even, r->most * 1.004));
    ck_assert((r->uneven > 0) <= (r->bound > r->even) && r->uneven <= 1);
}

/* --- known solids ---------------------------------------------------------------------------- */

/* The icosphere's own facets lie up to 0.4 * 2.85e-4 R inside of the sphere. */
START_TEST(spheres)
{
    struct mesh *sphere = shape_sphere(50, 6);
    struct offset_report report;
    struct mesh *in = offset(sphere, 2, true, 0, 0, &report);
    double inner = 4.0 / 3 * pi * 48 * 48 * 48, outer = 4.0 / 3 * pi * 52 * 52 * 52;
    ck_assert_double_eq_tol(-volume_of(in), inner, 4e-4 * inner);
    ck_assert_double_le(expect_offset(in, sphere, 2, 20000), 2.01);
    struct mesh *out = offset(sphere, 2, false, 0, 0, &report);
    ck_assert_double_eq_tol(volume_of(out), outer, 4e-4 * outer);
    ck_assert_double_le(expect_offset(out, sphere, 2, 20000), 2.01);
    mesh_free(in);
    mesh_free(out);
    mesh_free(sphere);
}
END_TEST

START_TEST(the_inside_of_a_box_is_a_box)
{
    struct mesh *box = shape_box(60, 40, 30, 1 + _i);
    struct offset_report report;
    struct mesh *in = offset(box, 2, true, 0, 0, &report);
    ck_assert_double_eq_tol(-volume_of(in), 56 * 36 * 26, 0.05);
    ck_assert_double_le(expect_offset(in, box, 2, 20000), 2.01);
    int corners = 0;
    for (size_t v = 0; v < mesh_vertices(in); v++) {
        struct point p = mesh_point(in)[v];
        double x = fmin((double)p.x - 2, 58 - (double)p.x);
        double y = fmin((double)p.y - 2, 38 - (double)p.y);
        double z = fmin((double)p.z - 2, 28 - (double)p.z);
        ck_assert_double_eq_tol(fmin(x, fmin(y, z)), 0, 1e-3); /* on a face, */
        corners += fmax(x, fmax(y, z)) < 1e-3;                 /* and eight in corners */
    }
    ck_assert_int_eq(corners, 8);
    mesh_free(in);
    mesh_free(box);
}
END_TEST

/* Outward a box gets rounded edges: volume + area r + edges pi r^2 / 4 + a ball (Steiner). */
START_TEST(around_a_box_edges_are_round)
{
    struct mesh *box = shape_box(60, 40, 30, 1);
    struct offset_report report;
    struct mesh *out = offset(box, 2, false, 0, 0, &report);
    double v = 72000 + 10800 * 2 + 520 * pi * 4 / 4 + 4.0 / 3 * pi * 8;
    ck_assert_double_eq_tol(volume_of(out), v, 5e-4 * v);
    ck_assert_double_le(expect_offset(out, box, 2, 20000), 2 * 1.06);
    mesh_free(out);
    mesh_free(box);
}
END_TEST

START_TEST(a_turned_box)
{
    struct mesh *box = shape_box(60, 40, 30, 1);
    struct motion motion = motion_turn(vec_unit(vec(1, 2, 3)), 0.4 + _i, vec(0, 0, 0));
    struct mesh *turned = motion_mesh(&motion, box, NULL);
    struct offset_report report;
    struct mesh *in = offset(turned, 2, true, 0, 0, &report);
    ck_assert_double_eq_tol(-volume_of(in), 52416, 1e-4 * 52416);
    ck_assert_double_le(expect_offset(in, turned, 2, 20000), 2 * 1.08);
    ck_assert_double_le(report.bound, 2 * 1.08);
    mesh_free(in);
    mesh_free(turned);
    mesh_free(box);
}
END_TEST

START_TEST(tori)
{
    struct mesh *torus = shape_torus(40, 10, 256, 96);
    struct offset_report report;
    double ring = 2 * pi * pi * 40;
    struct mesh *in = offset(torus, 2, true, 0, 0, &report);
    ck_assert_double_eq_tol(-volume_of(in), ring * 64, 3e-3 * ring * 64);
    ck_assert_double_le(expect_offset(in, torus, 2, 20000), 2.05);
    struct mesh *out = offset(torus, 2, false, 0, 0, &report);
    ck_assert_double_eq_tol(volume_of(out), ring * 144, 3e-3 * ring * 144);
    expect_offset(out, torus, 2, 20000);
    mesh_free(in);
    mesh_free(out);
    mesh_free(torus);
}
END_TEST

/* --- shapes with inner corners and thin parts --------------------------------------------------
 */

/* Eroded by r an L's inner corner is an arc around it: (4 - pi) r^2 / 4 more than the sharp L. */
START_TEST(inner_corners_are_round)
{
    struct mesh *l =
        blocks_united(blocks_box(0, 0, 0, 60, 20, 30), blocks_box(0, 0, 0, 20, 60, 30));
    struct offset_report report;
    struct mesh *in = offset(l, 2, true, 0, 0, &report);
    double v = (2 * 56 * 16 - 16 * 16 + 4 - pi) * 26;
    ck_assert_double_eq_tol(-volume_of(in), v, 1e-3 * v);
    expect_offset(in, l, 2, 20000);
    mesh_free(in);
    mesh_free(l);
}
END_TEST

START_TEST(what_is_thinner_than_two_walls_stays)
{
    struct mesh *plate = shape_box(60, 3, 30, 1), *in;
    struct offset_report report;
    in = offset(plate, 2, true, 0, 0, &report);
    ck_assert_uint_eq(mesh_triangles(in), 0);
    mesh_free(in);
    mesh_free(plate);
    struct mesh *bell = blocks_united(
        blocks_united(blocks_box(0, 0, 0, 20, 20, 20), blocks_box(40, 0, 0, 20, 20, 20)),
        blocks_box(10, 8, 8, 40, 3, 3));
    in = offset(bell, 2, true, 0, 0, &report);
    ck_assert_uint_eq(mesh_components(in, NULL)->count, 2);
    ck_assert_double_eq_tol(-volume_of(in), 2 * 16 * 16 * 16, 0.01 * 8192);
    expect_offset(in, bell, 2, 20000);
    mesh_free(in);
    mesh_free(bell);
}
END_TEST

/* Two plates that meet under an acute angle, cut out of a block: room between them tapers to
 * nothing. The true inside ends in an edge at the given distance from both. */
START_TEST(tapering_room_is_followed)
{
    static const struct point p[6] = {{0, 0, 0},  {60, 0, 0},  {60, 16, 0},
                                      {0, 0, 40}, {60, 0, 40}, {60, 16, 40}};
    static const struct triangle t[8] = {{{0, 2, 1}}, {{3, 4, 5}}, {{0, 1, 4}}, {{0, 4, 3}},
                                         {{1, 2, 5}}, {{1, 5, 4}}, {{2, 0, 3}}, {{2, 3, 5}}};
    struct mesh *prism = mesh_new(6, 8), *in;
    memcpy(mesh_point_edit(prism), p, sizeof p);
    memcpy(mesh_triangle_edit(prism), t, sizeof t);
    prism->joined = true;
    struct motion motion = motion_turn(vec_unit(vec(1, 2, 3)), 0.3 + _i, vec(0, 0, 0));
    struct mesh *turned = motion_mesh(&motion, prism, NULL);
    struct offset_report report;
    in = offset(turned, 2, true, 0, 0, &report);
    /* the triangle's inner circle shrinks by 2, and its area as the square of that */
    double area = 480, r = 2 * area / (60 + 16 + sqrt(60 * 60 + 16 * 16));
    double v = area * (1 - 2 / r) * (1 - 2 / r) * 36;
    ck_assert_double_eq_tol(-volume_of(in), v, 2e-3 * v);
    ck_assert_double_le(expect_offset(in, turned, 2, 20000), 2 * 1.1);
    ck_assert_double_le(report.bound, 2 * 1.1);
    mesh_free(in);
    mesh_free(turned);
    mesh_free(prism);
}
END_TEST

/* --- any shape ------------------------------------------------------------------------------- */

static struct mesh *any_shape(int i)
{
    if (i % 3 == 0)
        return carved_block((uint64_t)i);
    if (i % 3 == 1)
        return shape_rough(shape_sphere(20, 5), 0.1f + 0.05f * (float)(i % 4));
    struct mesh *block = carved_block((uint64_t)i);
    struct motion motion = motion_turn(vec_unit(vec(i, 2, 3)), 0.3 * i, vec(5, 5, 5));
    struct mesh *turned = motion_mesh(&motion, block, NULL);
    mesh_free(block);
    return turned;
}

START_TEST(any_shape_keeps_its_distance)
{
    struct mesh *mesh = any_shape(_i);
    double by = _i % 2 ? 1.5 : 2.5;
    for (int inward = 0; inward < 2; inward++) {
        struct offset_report report;
        struct mesh *surface = offset(mesh, by, inward, 0, 0, &report);
        ck_assert_uint_gt(mesh_triangles(surface), 0);
        double most = expect_offset(surface, mesh, by, 20000);
        ck_assert_double_ge(report.least, by - OFFSET_SLACK - 1e-5);
        ck_assert_double_le(report.bound, 1.08 * by);   /* what is asked for, little more, */
        ck_assert_double_le(most, report.bound + 1e-5); /* and proved */
        expect_told(mesh, &report, by);
        ck_assert_double_le(report.uneven, 0.02);
        ck_assert(inward ? volume_of(surface) < 0 : volume_of(surface) > shape_count(mesh).volume);
        mesh_free(surface);
    }
    mesh_free(mesh);
}
END_TEST

START_TEST(coarse_and_fine_keep_it_too)
{
    struct mesh *block = carved_block(3);
    struct offset_report report;
    const double spacing[] = {3, 1.1, 0.45};
    struct mesh *surface = offset(block, 1.5, true, spacing[_i], 0, &report);
    ck_assert_double_eq(report.spacing, spacing[_i]);
    expect_offset(surface, block, 1.5, 20000);
    mesh_free(surface);
    mesh_free(block);
}
END_TEST

START_TEST(far_from_the_origin)
{
    struct mesh *sphere = shape_sphere(20, 4);
    sphere->origin[0] = 4.5e6;
    sphere->origin[2] = -5e5;
    struct offset_report report;
    struct mesh *in = offset(sphere, 1, true, 0, 0, &report);
    ck_assert_double_eq(in->origin[0], 4.5e6);
    expect_offset(in, sphere, 1, 5000);
    mesh_free(in);
    mesh_free(sphere);
}
END_TEST

START_TEST(same_bytes_for_any_threads)
{
    struct mesh *mesh = any_shape(_i), *one = NULL;
    for (int threads = 1; threads < 5; threads += 2) {
        struct offset_report report;
        struct mesh *surface = offset(mesh, 2, true, 0, threads, &report);
        if (!one) {
            one = surface;
            continue;
        }
        ck_assert_uint_eq(mesh_vertices(surface), mesh_vertices(one));
        ck_assert_mem_eq(mesh_point(surface), mesh_point(one), array_bytes(one->point));
        ck_assert_uint_eq(mesh_triangles(surface), mesh_triangles(one));
        ck_assert_mem_eq(mesh_triangle(surface), mesh_triangle(one), array_bytes(one->triangle));
        mesh_free(surface);
    }
    mesh_free(one);
    mesh_free(mesh);
}
END_TEST

/* --- how deep -------------------------------------------------------------------------------- */

START_TEST(the_deepest_point)
{
    struct mesh *box = shape_box(60, 40, 30, 2), *sphere = shape_sphere(50, 5);
    double depth;
    struct vec at;
    ck_assert_int_eq(offset_deepest(box, &depth, &at, NULL), STATUS_OK);
    ck_assert_double_le(depth, 15 + 1e-9);
    ck_assert_double_ge(depth, 15 * 0.99);
    ck_assert_double_eq_tol(at.z, 15, 0.3);
    ck_assert_int_eq(offset_deepest(sphere, &depth, &at, NULL), STATUS_OK);
    ck_assert_double_eq_tol(depth, 50, 0.5);
    mesh_free(box);
    mesh_free(sphere);
}
END_TEST

/* --- what is no solid ------------------------------------------------------------------------ */

static void refused(struct mesh *mesh, const char *why)
{
    struct job job;
    job_init(&job);
    ck_assert_int_eq(solid_judge(mesh, &job), STATUS_REFUSED);
    ck_assert_msg(strstr(job.message, why) != NULL, "%s", job.message);
    job_release(&job);
    mesh_free(mesh);
}

START_TEST(what_is_no_solid)
{
    refused(shape_patch(10, 3, NULL), "it is open along 12 edges");
    struct mesh *box = shape_box(5, 5, 5, 1), *turned = mesh_new_like(box);
    ck_assert_int_eq(mesh_turn_over(turned, box, NULL, NULL, NULL), STATUS_OK);
    refused(turned, "it faces inward");
    const struct mesh *const two[2] = {box, box};
    const double move[2][3] = {{0, 0, 0}, {2, 2, 2}};
    refused(shape_join(two, move, 2), "of its triangles cross, the first at");
    mesh_free(box);
    refused(mesh_new(0, 0), "\"fuse\" makes a solid");
}
END_TEST

START_TEST(too_fine)
{
    struct mesh *box = shape_box(600, 400, 300, 1), *out = NULL;
    struct offset_options options = {2, true, 0.001, false};
    struct offset_report report;
    struct job job;
    job_init(&job);
    ck_assert_int_eq(offset_surface(box, &options, &out, &report, &job), STATUS_REFUSED);
    ck_assert_ptr_nonnull(strstr(job.message, "too fine"));
    job_release(&job);
    mesh_free(box);
}
END_TEST

/* --- cancel ---------------------------------------------------------------------------------- */

/* Also while it is done again on a finer grid. */
START_TEST(cancelled)
{
    struct mesh *mesh = any_shape(2), *out = NULL;
    struct offset_options options = {2, true, 0.5, false};
    struct offset_report report;
    struct job job;
    struct cancelling c = {.job = &job, .from = 0.1 + 0.1 * _i};
    while (cancelling_again(&c))
        ck_assert_int_eq(offset_surface(mesh, &options, &out, &report, &job), STATUS_CANCELLED);
    ck_assert_ptr_null(out);
    mesh_free(mesh);
}
END_TEST

Suite *suite_offset(void);
Suite *suite_offset(void)
{
    Suite *suite = suite_create("offset");
    TCase *known = tcase_create("known"), *any = tcase_create("any");
    tcase_set_timeout(known, 240);
    tcase_add_test(known, spheres);
    tcase_add_loop_test(known, the_inside_of_a_box_is_a_box, 0, 2);
    tcase_add_test(known, around_a_box_edges_are_round);
    tcase_add_loop_test(known, a_turned_box, 0, 3);
    tcase_add_test(known, tori);
    tcase_add_test(known, inner_corners_are_round);
    tcase_add_test(known, what_is_thinner_than_two_walls_stays);
    tcase_add_loop_test(known, tapering_room_is_followed, 0, 3);
    tcase_add_test(known, the_deepest_point);
    tcase_add_test(known, what_is_no_solid);
    tcase_add_test(known, too_fine);
    suite_add_tcase(suite, known);
    tcase_set_timeout(any, 240);
    tcase_add_loop_test(any, any_shape_keeps_its_distance, 0, getenv("FETTLE_LONG") ? 6 : 2);
    tcase_add_loop_test(any, coarse_and_fine_keep_it_too, 0, 3);
    tcase_add_test(any, far_from_the_origin);
    tcase_add_loop_test(any, same_bytes_for_any_threads, 0, 1);
    tcase_add_loop_test(any, cancelled, 0, 3);
    suite_add_tcase(suite, any);
    return suite;
}
