/* Surfaces at a distance have few triangles where few do, and are as near to the distance as ever:
 * asked of the tree from both sides. */
#include <check.h>
#include <math.h>

#include "core/job.h"
#include "core/tree.h"
#include "solid/offset.h"
#include "solid/place.h"
#include "tests/support/blocks.h"
#include "tests/support/carved.h"
#include "tests/support/shapes.h"
#include "tests/support/sound.h"

Suite *suite_offset_thin(void);

static const double pi = 3.14159265358979323846;

static struct mesh *offset(const struct mesh *mesh, double by, bool inward, bool hidden,
                           struct offset_report *report)
{
    struct job job;
    struct mesh *out = NULL;
    const struct offset_options options = {.by = by, .inward = inward, .hidden = hidden};
    job_init(&job);
    enum status status = offset_surface(mesh, &options, &out, report, &job);
    ck_assert_msg(status == STATUS_OK, "%s", job.message);
    job_release(&job);
    return out;
}

static double beyond(double by)
{
    return fmax(0.04 * by, OFFSET_SLACK);
}

static void corners_of(const struct mesh *mesh, size_t t, struct vec corner[3])
{
    for (int k = 0; k < 3; k++)
        corner[k] = point_vec(mesh_point(mesh)[mesh_triangle(mesh)[t].v[k]]);
}

/* From the solid's side: what lies straight across from places on it, at the distance and nearer
 * to nothing else of it, is on the true surface, so the made one is near. */
static void expect_all_of_it(const struct mesh *surface, const struct mesh *mesh, double by,
                             bool inward, double more)
{
    const struct tree *solid = mesh_tree(mesh, NULL), *made = mesh_tree(surface, NULL);
    uint64_t state = 7;
    int met = 0;
    for (int i = 0; i < 20000; i++) {
        struct vec c[3];
        size_t t = (size_t)(shape_random(&state) * (double)mesh_triangles(mesh));
        corners_of(mesh, t, c);
        double u = shape_random(&state), v = shape_random(&state) * (1 - u);
        struct vec p = vec_along(vec_along(c[0], u, vec_sub(c[1], c[0])), v, vec_sub(c[2], c[0]));
        struct vec n = vec_unit(vec_cross(vec_sub(c[1], c[0]), vec_sub(c[2], c[0])));
        struct vec at = vec_along(p, inward ? -by : by, n);
        if (tree_nearest(solid, at, INFINITY).distance < by - 1e-6)
            continue;
        met++;
        ck_assert_double_le(tree_nearest(made, at, INFINITY).distance, more);
    }
    ck_assert_int_gt(met, 1000);
}

/* Closed, a manifold, without crossings, within what is promised from both sides, and thinned. */
static void expect_good(const struct mesh *surface, const struct mesh *mesh, double by, bool inward,
                        const struct offset_report *r)
{
    const char *fault = sound_fault(surface);
    ck_assert_msg(!fault, "%s", fault);
    ck_assert_uint_eq(sound_crossings(surface), 0);
    double most, least = sound_least_distance(surface, mesh, 20000, &most);
    ck_assert_double_ge(least, offset_nearest(by) - 1e-6);
    ck_assert_double_le(most, r->bound + 1e-6);
    ck_assert_uint_eq(r->made, mesh_triangles(surface));
    ck_assert_uint_le(r->made, r->net);
    if (r->uneven == 0)
        expect_all_of_it(surface, mesh, by, inward, beyond(by) + OFFSET_SLACK);
}

/* Inside a box is a box: twelve triangles. */
START_TEST(a_box)
{
    struct mesh *box = shape_box(60, 40, 30, 1 + 3 * _i);
    struct offset_report report;
    struct mesh *in = offset(box, 2, true, true, &report);
    ck_assert_uint_eq(mesh_triangles(in), 12);
    ck_assert_uint_gt(report.net, 10000);
    ck_assert_double_eq_tol(-shape_count(in).volume, 56 * 36 * 26, 0.05);
    expect_good(in, box, 2, true, &report);
    mesh_free(in);
    mesh_free(box);
}
END_TEST

/* How much of a surface lies in the plane, to within the rounding of coordinates, mm2. */
static double area_in(const struct mesh *surface, struct vec normal, double height)
{
    double area = 0;
    for (size_t t = 0; t < mesh_triangles(surface); t++) {
        struct vec c[3];
        bool in = true;
        corners_of(surface, t, c);
        for (int k = 0; k < 3; k++)
            in = in && fabs(vec_dot(normal, c[k]) - height) < 5e-5;
        if (in)
            area += vec_length(vec_cross(vec_sub(c[1], c[0]), vec_sub(c[2], c[0]))) / 2;
    }
    return area;
}

/* Around a box its faces stay as flat as they were, but for the cells that the rounds begin in, and
 * these rounds take the triangles. */
START_TEST(faces_stay_flat)
{
    struct mesh *box = shape_box(60, 40, 30, 1);
    struct motion motion = motion_turn(vec_unit(vec(1, 2, 3)), _i * 0.7, vec(0, 0, 0));
    struct mesh *turned = motion_mesh(&motion, box, NULL);
    struct offset_report report;
    struct mesh *out = offset(turned, 2, false, false, &report);
    double area = 0;
    for (size_t i = 0; i < mesh_triangles(turned); i += 2) { /* two make a face */
        struct vec c[3];
        corners_of(turned, i, c);
        struct vec n = vec_unit(vec_cross(vec_sub(c[1], c[0]), vec_sub(c[2], c[0])));
        area += area_in(out, n, vec_dot(n, c[0]) + 2);
    }
    ck_assert_double_ge(area, 0.9 * 2 * (60 * 40 + 40 * 30 + 30 * 60));
    ck_assert_uint_lt(3 * mesh_triangles(out), report.net);
    expect_good(out, turned, 2, false, &report);
    mesh_free(out);
    mesh_free(turned);
    mesh_free(box);
}
END_TEST

/* An L, with a round inside of its inner corner. */
START_TEST(a_bracket)
{
    struct mesh *l =
        blocks_united(blocks_box(0, 0, 0, 60, 20, 30), blocks_box(0, 0, 0, 20, 60, 30));
    struct offset_report report;
    struct mesh *in = offset(l, 2, true, true, &report);
    ck_assert_uint_lt(mesh_triangles(in), 400);
    expect_good(in, l, 2, true, &report);
    mesh_free(in);
    mesh_free(l);
}
END_TEST

/* Bent everywhere: the chords are as long as what is allowed lets them be. A triangle whose corners
 * lie on a ball of radius r, the middle of its circle h below, has an area of 3 sqrt(3) / 2 r h at
 * the most. */
START_TEST(a_ball)
{
    struct mesh *sphere = shape_sphere(50, 6);
    struct offset_report report;
    struct mesh *in = offset(sphere, 2, true, _i, &report);
    double least = 4 * pi * 48 * 48 / (1.5 * sqrt(3) * 48 * (_i ? beyond(2) : OFFSET_SLACK / 2));
    ck_assert_double_lt((double)mesh_triangles(in), 4 * least);
    ck_assert_double_le(-shape_count(in).volume, 4.0 / 3 * pi * 48.01 * 48.01 * 48.01);
    expect_good(in, sphere, 2, true, &report);
    mesh_free(in);
    mesh_free(sphere);
}
END_TEST

START_TEST(any_shape)
{
    struct mesh *mesh =
        _i % 2 ? carved_block((uint64_t)_i) : shape_rough(shape_sphere(20, 5), 0.1f);
    for (int inward = 0; inward < 2; inward++) {
        struct offset_report report;
        struct mesh *surface = offset(mesh, 1.5, inward, inward, &report);
        ck_assert_uint_lt((inward ? 2 : 1) * report.made, report.net);
        expect_good(surface, mesh, 1.5, inward, &report);
        mesh_free(surface);
    }
    mesh_free(mesh);
}
END_TEST

Suite *suite_offset_thin(void)
{
    Suite *suite = suite_create("offset_thin");
    TCase *all = tcase_create("offset_thin");
    tcase_set_timeout(all, 240);
    tcase_add_loop_test(all, a_box, 0, 2);
    tcase_add_loop_test(all, faces_stay_flat, 0, 2);
    tcase_add_test(all, a_bracket);
    tcase_add_loop_test(all, a_ball, 0, 2);
    tcase_add_loop_test(all, any_shape, 0, 4);
    suite_add_tcase(suite, all);
    return suite;
}
