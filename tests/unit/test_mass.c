/* Amount, middle and inertia of bodies; whether they stand as they lie. */
#include <check.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "core/job.h"
#include "core/topology.h"
#include "solid/balance.h"
#include "solid/foot.h"
#include "tests/support/shapes.h"

static struct mass weighed(const struct mesh *mesh)
{
    struct mass mass;
    ck_assert_int_eq(mass_find(&mesh, 1, &mass, NULL), STATUS_OK);
    return mass;
}

static void is_near(double is, double want, double slack)
{
    ck_assert_msg(fabs(is - want) <= slack, "%.12g is not %.12g within %.3g", is, want, slack);
}

static void is_at(struct vec is, struct vec want, double slack)
{
    ck_assert_msg(vec_length(vec_sub(is, want)) <= slack, "%g %g %g is not %g %g %g", is.x, is.y,
                  is.z, want.x, want.y, want.z);
}

/* --- handbook solids -------------------------------------------------------------------------- */

/* Inscribed geodesic polyhedra lack `volume` percent of the sphere's volume (computed apart, see
 * test_check.c), which is three thin layers' worth of radius: of the integral of r^4, five layers'
 * worth, so of inertia over mass two thirds of it. */
static const struct {
    int level;
    double volume;
} deficits[] = {{3, 0.8606}, {4, 0.2161}, {5, 0.0541}, {6, 0.0135}};

START_TEST(sphere_by_the_handbook)
{
    double lack = deficits[_i].volume / 100;
    struct mesh *mesh = shape_sphere(50, deficits[_i].level);
    struct mass mass = weighed(mesh);
    ck_assert_int_eq(mass.kind, MASS_SOLID);
    is_at(mass.centre, vec(0, 0, 0), 1e-5);
    double moment[3], want = 1000 * (1 - 2 * lack / 3); /* 0.4 R^2 */
    struct vec axis[3];
    mass_axes(&mass, moment, axis);
    for (int k = 0; k < 3; k++) /* a body with the icosahedron's symmetry has no preferred axis */
        is_near(moment[k] / mass.amount, want, 1000 * (lack * lack + 1e-6));
    mesh_free(mesh);
}
END_TEST

/* a b c: inertia over mass is (b^2 + c^2) / 5 and so on; being an affine image of the sphere's
 * polyhedron, it lacks the same share. */
START_TEST(ellipsoid_by_the_handbook)
{
    double lack = deficits[_i].volume / 100, want[3] = {500, 680, 820};
    struct mesh *mesh = shape_sphere(1, deficits[_i].level);
    for (size_t v = 0; v < mesh_vertices(mesh); v++) {
        struct point *p = mesh_point_edit(mesh) + v;
        *p = (struct point){50 * p->x, 40 * p->y, 30 * p->z};
    }
    struct mass mass = weighed(mesh);
    double moment[3];
    struct vec axis[3];
    mass_axes(&mass, moment, axis);
    for (int k = 0; k < 3; k++) {
        is_near(moment[k] / mass.amount, want[k] * (1 - 2 * lack / 3),
                want[k] * (lack * lack + 1e-6));
        is_near(mass.inertia[k][k], moment[k], 1e-6 * moment[k]);
    }
    is_near(fabs(axis[0].x), 1, 1e-9);
    is_near(fabs(axis[2].z), 1, 1e-9);
    mesh_free(mesh);
}
END_TEST

/* R^2 + 3/4 r^2 about the axis, R^2 / 2 + 5/8 r^2 about a diameter; polygons of 600 and 300 sides
 * lack a part of their circles of the order of (2 pi / n)^2 / 6. */
START_TEST(torus_by_the_handbook)
{
    struct mesh *mesh = shape_torus(40, 10, 600, 300);
    struct mass mass = weighed(mesh);
    is_near(mass.inertia[2][2] / mass.amount, 1675, 1675 * 1e-4);
    is_near(mass.inertia[0][0] / mass.amount, 862.5, 862.5 * 1e-4);
    is_near(mass.inertia[1][1] / mass.amount, 862.5, 862.5 * 1e-4);
    is_at(mass.centre, vec(0, 0, 0), 1e-5);
    mesh_free(mesh);
}
END_TEST

START_TEST(frustum_by_the_handbook)
{
    struct mesh *mesh = shape_frustum(30, 20, 40, 3600);
    struct mass mass = weighed(mesh);
    is_at(mass.centre, vec(0, 0, 17.3684), 1e-4); /* h/4 (R^2 + 2Rr + 3r^2) / (R^2 + Rr + r^2) */
    is_near(mass.inertia[2][2] / mass.amount, 333.158, 1e-3); /* 0.3 (R^5 - r^5) / (R^3 - r^3) */
    struct balance balance;
    ck_assert_int_eq(balance_find((const struct mesh *const *)&mesh, 1, &balance, NULL), STATUS_OK);
    is_near(balance.stand.area, 3.14159265 * 900, 3e-3);
    is_near(balance.stand.margin, 30, 1e-3);
    is_near(balance.stand.height, 17.3684, 1e-4);
    is_near(balance.stand.tilt, atan2(30, 17.3684) * 57.29577951, 1e-3);
    mesh_free(mesh);
}
END_TEST

/* --- laws ------------------------------------------------------------------------------------- */

/* Two boxes taken together: each m/12 (b^2 + c^2) about itself, and Steiner's shift. */
START_TEST(two_boxes_by_steiner)
{
    struct mesh *box[2] = {shape_box(10, 20, 30, 3), shape_box(30, 10, 10, 2)};
    box[1]->origin[0] = 50;
    struct mass mass;
    ck_assert_int_eq(mass_find((const struct mesh *const *)box, 2, &mass, NULL), STATUS_OK);
    const double m[2] = {6000, 3000}, x[2] = {5, 65}, y[2] = {10, 5}, z[2] = {15, 5};
    const double b[2][3] = {{10, 20, 30}, {30, 10, 10}};
    struct vec c = vec(25, (6 * 10 + 3 * 5) / 9.0, (6 * 15 + 3 * 5) / 9.0);
    double xx = 0, xy = 0;
    for (int i = 0; i < 2; i++) {
        double dx = x[i] - c.x, dy = y[i] - c.y, dz = z[i] - c.z;
        xx += m[i] * ((b[i][1] * b[i][1] + b[i][2] * b[i][2]) / 12 + dy * dy + dz * dz);
        xy -= m[i] * dx * dy;
    }
    is_near(mass.amount, 9000, 1e-9);
    is_at(mass.centre, c, 1e-12);
    is_near(mass.inertia[0][0], xx, 1e-9 * xx);
    is_near(mass.inertia[0][1], xy, 1e-9 * fabs(xy));
    is_near(mass.inertia[1][0], xy, 1e-9 * fabs(xy));
    mesh_free(box[0]);
    mesh_free(box[1]);
}
END_TEST

START_TEST(turning_turns_the_axes_and_nothing_else)
{
    uint64_t seed = 7;
    struct mesh *box = shape_box(10, 20, 30, 2);
    for (int i = 0; i < 20; i++) {
        struct vec way = vec_unit(vec(shape_random(&seed) - 0.5, shape_random(&seed) - 0.5, 0.3));
        struct motion turn = motion_turn(way, 6 * shape_random(&seed), vec(9, 8, 7));
        struct mesh *turned = motion_mesh(&turn, box, NULL);
        struct mass mass = weighed(turned);
        double moment[3];
        struct vec axis[3];
        mass_axes(&mass, moment, axis);
        is_near(moment[0], 500.0 * 6000 / 12, 1);
        is_near(moment[1], 1000.0 * 6000 / 12, 1);
        is_near(moment[2], 1300.0 * 6000 / 12, 1);
        is_near(fabs(vec_dot(axis[0], motion_direction(&turn, vec(0, 0, 1)))), 1, 1e-6);
        is_near(fabs(vec_dot(axis[2], motion_direction(&turn, vec(1, 0, 0)))), 1, 1e-6);
        is_near(vec_dot(vec_cross(axis[0], axis[1]), axis[2]), 1, 1e-12);
        is_at(mass.centre, motion_apply(&turn, vec(5, 10, 15)), 1e-5);
        mesh_free(turned);
    }
    mesh_free(box);
}
END_TEST

START_TEST(far_off_and_with_any_threads)
{
    struct mesh *near = shape_sphere(50, 5), *far = shape_sphere(50, 5);
    far->origin[0] = 4.5e9;
    far->origin[1] = -5.3e9;
    struct mass a, b;
    struct job job;
    job_init(&job);
    job.threads = 1;
    ck_assert_int_eq(mass_find((const struct mesh *const *)&near, 1, &a, &job), STATUS_OK);
    job.threads = 4;
    ck_assert_int_eq(mass_find((const struct mesh *const *)&near, 1, &b, &job), STATUS_OK);
    ck_assert_mem_eq(&a.inertia, &b.inertia, sizeof a.inertia);
    ck_assert(a.amount == b.amount && a.centre.x == b.centre.x);
    ck_assert_int_eq(mass_find((const struct mesh *const *)&far, 1, &b, &job), STATUS_OK);
    is_near(b.inertia[0][0], a.inertia[0][0], 1e-9 * a.inertia[0][0]);
    is_at(b.centre, vec(4.5e9, -5.3e9, 0), 1e-5); /* doubles step by 1e-6 there */
    job_release(&job);
    mesh_free(near);
    mesh_free(far);
}
END_TEST

static bool upper(const struct mesh *mesh, size_t t)
{
    return mesh_point(mesh)[mesh_triangle(mesh)[t].v[0]].z > 0;
}

/* Skins and clouds: inertia over area of a spherical shell is 2/3 R^2. */
START_TEST(what_is_not_solid)
{
    struct mesh *ball = shape_sphere(30, 6), *half = shape_without(ball, upper);
    struct mesh *cloud = mesh_new(mesh_vertices(ball), 0);
    memcpy(mesh_point_edit(cloud), mesh_point(ball), array_bytes(ball->point));
    struct mass points = weighed(cloud), bowl = weighed(half);
    ck_assert_int_eq(points.kind, MASS_POINTS);
    is_near(points.inertia[2][2] / points.amount, 600, 0.1);
    ck_assert_int_eq(bowl.kind, MASS_SURFACE);
    /* its rim is ragged by an edge, 0.6 mm: R / 3 = 10 a millimetre */
    is_near(bowl.inertia[2][2] / bowl.amount, 600, 6);
    is_near(bowl.centre.z, -15, 0.5); /* of a hemisphere's skin: R / 2 */
    struct motion mirror = motion_mirror(vec(1, 0, 0), vec(0, 0, 0));
    struct mesh *inside_out = motion_mesh(&mirror, ball, NULL);
    array_free(inside_out->triangle);
    inside_out->triangle = array_share(ball->triangle);
    ck_assert_int_eq(weighed(inside_out).kind, MASS_SURFACE);
    struct mesh *none = mesh_new(0, 0);
    ck_assert(weighed(none).amount == 0);
    struct balance balance;
    ck_assert_int_eq(balance_find((const struct mesh *const *)&none, 1, &balance, NULL),
                     STATUS_REFUSED);
    mesh_free(none);
    mesh_free(inside_out);
    mesh_free(cloud);
    mesh_free(half);
    mesh_free(ball);
}
END_TEST

START_TEST(a_hollow_weighs_less)
{
    struct mesh *outer = shape_box(30, 30, 30, 2), *inner = shape_box(10, 10, 10, 2);
    struct motion place = motion_shift(vec(3, 10, 10));
    struct mesh *hole = motion_mesh(&place, inner, NULL);
    for (size_t t = 0; t < mesh_triangles(inner); t++) {
        uint32_t *v = mesh_triangle_edit(inner)[t].v, swap = v[1];
        v[1] = v[2];
        v[2] = swap;
    }
    array_free(hole->triangle);
    hole->triangle = array_share(inner->triangle);
    const struct mesh *both[2] = {outer, hole};
    struct mass mass;
    ck_assert_int_eq(mass_find(both, 2, &mass, NULL), STATUS_OK);
    is_near(mass.amount, 26000, 1e-9);
    is_at(mass.centre, vec((27000 * 15 - 1000 * 8) / 26000.0, 15, 15), 1e-12);
    mesh_free(hole);
    mesh_free(inner);
    mesh_free(outer);
}
END_TEST

/* --- standing --------------------------------------------------------------------------------- */

static struct balance balanced(const struct mesh *mesh)
{
    struct balance balance;
    ck_assert_int_eq(balance_find(&mesh, 1, &balance, NULL), STATUS_OK);
    return balance;
}

/* A box whose top is pushed aside leans; it falls once its middle, pushed half as far, is past the
 * side of its base. */
START_TEST(a_leaning_box)
{
    const double push[] = {0, 5, 19, 21, 60};
    for (size_t i = 0; i < sizeof push / sizeof *push; i++) {
        struct mesh *box = shape_box(20, 30, 40, 4);
        for (size_t v = 0; v < mesh_vertices(box); v++)
            mesh_point_edit(box)[v].x += (float)push[i] * mesh_point(box)[v].z / 40;
        box->origin[2] = 100;
        struct balance b = balanced(box);
        is_near(b.floor, 100, 0);
        ck_assert_uint_eq(b.corners, 4);
        is_near(b.stand.area, 600, 1e-3);
        is_near(b.stand.margin, 10 - push[i] / 2, 1e-5);
        is_near(b.stand.tilt, atan2(10 - push[i] / 2, 20) * 57.29577951, 1e-4);
        mesh_free(box);
    }
}
END_TEST

START_TEST(on_an_edge_or_a_corner)
{
    struct mesh *box = shape_box(20, 20, 20, 5);
    struct motion turn = motion_turn(vec(1, 0, 0), 0.7, vec(0, 0, 0));
    struct mesh *edge = motion_mesh(&turn, box, NULL);
    ck_assert_uint_eq(balanced(edge).corners, 2);
    ck_assert(!(balanced(edge).stand.margin > 0));
    turn = motion_turn(vec_unit(vec(1, 1, 0)), 0.7, vec(0, 0, 0));
    struct mesh *corner = motion_mesh(&turn, box, NULL);
    ck_assert_uint_eq(balanced(corner).corners, 1);
    ck_assert_double_lt(balanced(corner).stand.margin, 0);
    mesh_free(corner);
    mesh_free(edge);
    mesh_free(box);
}
END_TEST

/* What stand found out about the side it chose is what is found about it there. */
START_TEST(stand_and_balance_agree)
{
    uint64_t seed = 11;
    for (int i = 0; i < 10; i++) {
        struct mesh *mesh = shape_frustum(30, 20, 40, 64), *stood;
        for (size_t v = 0; v < mesh_vertices(mesh); v++)
            mesh_point_edit(mesh)[v].x += 0.2f * mesh_point(mesh)[v].z;
        struct vec way = vec_unit(vec(shape_random(&seed) - 0.5, shape_random(&seed) - 0.5, 0.3));
        struct motion turn = motion_turn(way, 6 * shape_random(&seed), vec(0, 0, 0)), down;
        struct mesh *turned = motion_mesh(&turn, mesh, NULL);
        struct stand_report report;
        ck_assert_int_eq(
            stand_find((const struct mesh *const *)&turned, 1, NULL, &down, &report, NULL),
            STATUS_OK);
        stood = motion_mesh(&down, turned, NULL);
        struct balance b = balanced(stood);
        is_near(b.stand.area, report.area, 1e-3 * report.area);
        is_near(b.stand.margin, report.margin, 1e-3);
        is_near(b.stand.height, report.height, 1e-3);
        is_near(b.stand.tilt, report.tilt, 1e-2);
        mesh_free(stood);
        mesh_free(turned);
        mesh_free(mesh);
    }
}
END_TEST

/* A floor of very many points on a circle: more corners than are kept at first. */
START_TEST(a_round_foot_of_many_points)
{
    struct mesh *mesh = shape_frustum(30, 20, 40, 20000);
    struct balance b = balanced(mesh);
    ck_assert_uint_gt(b.corners, 10000); /* rounded to float, some are no corners */
    is_near(b.stand.area, 3.14159265 * 900, 1e-3);
    is_near(b.stand.margin, 30, 1e-4);
    mesh_free(mesh);
}
END_TEST

/* --- the outline ------------------------------------------------------------------------------ */

static double turn_of(const double *a, const double *b, const double *p)
{
    return (b[0] - a[0]) * (p[1] - a[1]) - (b[1] - a[1]) * (p[0] - a[0]);
}

START_TEST(outlines_hold_their_points)
{
    enum { MOST = 60 };
    uint64_t seed = 13;
    for (int i = 0; i < 300; i++) {
        size_t n = 1 + (size_t)(shape_random(&seed) * (MOST - 1));
        double at[MOST][2], kept[MOST][2], corner[2 * MOST][2], grid = 1 + i % 7;
        for (size_t p = 0; p < n; p++)
            for (int k = 0; k < 2; k++) /* on a coarse grid: doubled, and on lines; exact */
                at[p][k] = kept[p][k] = floor(grid * shape_random(&seed));
        size_t corners = foot_outline(at, n, corner);
        ck_assert_uint_ge(corners, 1);
        for (size_t c = 0; c < corners; c++) {
            const double *a = corner[c], *b = corner[(c + 1) % corners];
            bool known = false;
            for (size_t p = 0; p < n; p++) {
                ck_assert(turn_of(a, b, kept[p]) >= 0);
                known |= memcmp(kept[p], a, sizeof kept[p]) == 0;
            }
            ck_assert(known);
            if (corners > 2)
                ck_assert(turn_of(a, b, corner[(c + 2) % corners]) > 0);
        }
        ck_assert(corners < 3 || foot_area((const double(*)[2])corner, corners) > 0);
        for (size_t p = 0; corners > 2 && p < n; p++)
            ck_assert(foot_margin((const double(*)[2])corner, corners, kept[p][0], kept[p][1]) >=
                      0);
    }
}
END_TEST

Suite *suite_mass(void);

Suite *suite_mass(void)
{
    Suite *suite = suite_create("mass");
    TCase *all = tcase_create("all");
    tcase_set_timeout(all, 30);
    tcase_add_loop_test(all, sphere_by_the_handbook, 0, 4);
    tcase_add_loop_test(all, ellipsoid_by_the_handbook, 0, 4);
    tcase_add_test(all, torus_by_the_handbook);
    tcase_add_test(all, frustum_by_the_handbook);
    tcase_add_test(all, two_boxes_by_steiner);
    tcase_add_test(all, turning_turns_the_axes_and_nothing_else);
    tcase_add_test(all, far_off_and_with_any_threads);
    tcase_add_test(all, what_is_not_solid);
    tcase_add_test(all, a_hollow_weighs_less);
    tcase_add_test(all, a_leaning_box);
    tcase_add_test(all, on_an_edge_or_a_corner);
    tcase_add_test(all, stand_and_balance_agree);
    tcase_add_test(all, a_round_foot_of_many_points);
    tcase_add_test(all, outlines_hold_their_points);
    suite_add_tcase(suite, all);
    return suite;
}
