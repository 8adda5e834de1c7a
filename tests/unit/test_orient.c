/* Making triangles agree and face outward: directions are spoiled, and must come back. */
#include <check.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "core/job.h"
#include "surface/orient.h"
#include "tests/support/shapes.h"

static void turn(struct mesh *mesh, size_t t)
{
    uint32_t *v = mesh_triangle_edit(mesh)[t].v, k = v[1];
    v[1] = v[2];
    v[2] = k;
}

static void turn_all(struct mesh *mesh)
{
    for (size_t t = 0; t < mesh_triangles(mesh); t++)
        turn(mesh, t);
}

/* Turns about that share of the triangles. */
static void spoil(struct mesh *mesh, double share, uint64_t seed)
{
    for (size_t t = 0; t < mesh_triangles(mesh); t++)
        if (shape_random(&seed) < share)
            turn(mesh, t);
}

static struct mesh *copy(const struct mesh *mesh)
{
    return shape_join(&mesh, NULL, 1);
}

static struct mesh *orient_now(const struct mesh *mesh, struct orient_report *report)
{
    struct job job;
    job_init(&job);
    job.threads = 1;
    struct mesh *out = orient(mesh, report, &job);
    ck_assert_msg(out != NULL, "%s", job.message);
    job_release(&job);
    return out;
}

/* Spoils a mesh in several ways; orienting must give back the same directions. */
static void expect_back(struct mesh *right, size_t outward, size_t hollows, size_t sheets,
                        double most_spoiled)
{
    for (int i = 0; i < 6; i++) {
        struct mesh *wrong = copy(right);
        spoil(wrong, most_spoiled * i / 5, (uint64_t)i + 1);
        struct orient_report report;
        struct mesh *out = orient_now(wrong, &report);
        for (size_t t = 0; t < mesh_triangles(right); t++) {
            const uint32_t *v = mesh_triangle(right)[t].v, *w = mesh_triangle(out)[t].v;
            int k = w[0] == v[0] ? 0 : w[1] == v[0] ? 1 : 2; /* the same cycle */
            ck_assert_uint_eq(w[k], v[0]);
            ck_assert_uint_eq(w[(k + 1) % 3], v[1]);
        }
        ck_assert_uint_eq(report.outward, outward);
        ck_assert_uint_eq(report.hollows, hollows);
        ck_assert_uint_eq(report.sheets, sheets);
        ck_assert_uint_eq(report.one_sided + report.seams, 0);
        size_t differ = 0;
        for (size_t t = 0; t < mesh_triangles(right); t++)
            differ += mesh_triangle(wrong)[t].v[1] != mesh_triangle(right)[t].v[1];
        ck_assert_uint_eq(report.turned, differ);
        mesh_free(out);
        mesh_free(wrong);
    }
    mesh_free(right);
}

static struct mesh *joined_of(struct mesh **part, const double (*move)[3], size_t count)
{
    struct mesh *all = shape_join((const struct mesh *const *)part, move, count);
    for (size_t i = 0; i < count; i++)
        mesh_free(part[i]);
    return all;
}

START_TEST(solids)
{
    expect_back(shape_sphere(50, 3), 1, 0, 0, 1);
    expect_back(shape_torus(40, 10, 30, 15), 1, 0, 0, 1);
    expect_back(shape_box(3, 2, 1, 4), 1, 0, 0, 1);
}
END_TEST

START_TEST(nested_shells) /* solid, hollow, solid in the hollow, hollow; and a solid beside */
{
    struct mesh *part[5];
    for (int i = 0; i < 4; i++) {
        part[i] = shape_sphere(50 - 10 * i, 3);
        if (i % 2)
            turn_all(part[i]);
    }
    part[4] = shape_box(10, 10, 10, 2);
    const double move[5][3] = {{0}, {1, 0, 0}, {0, 2, 0}, {0, 2, 1}, {60, 0, 0}};
    expect_back(joined_of(part, move, 5), 3, 2, 0, 1);
}
END_TEST

START_TEST(stacked_boxes) /* rays from corners meet edges and corners of the others */
{
    struct mesh *part[3] = {shape_box(10, 10, 10, 2), shape_box(2, 2, 2, 1),
                            shape_box(10, 10, 10, 2)};
    turn_all(part[1]);
    const double move[3][3] = {{0}, {5, 5, 5}, {0, 0, 20}};
    expect_back(joined_of(part, move, 3), 2, 1, 0, 1);
}
END_TEST

START_TEST(overlapping_bodies) /* whichever triangle comes first; and a hollow beside them */
{
    const double move[3][3] = {{0}, {5, 6, 7}, {1, 1, 1}};
    for (size_t first = 0; first < 12 * 2 * 2; first++) {
        struct mesh *part[3] = {shape_box(10, 10, 10, 2), shape_box(10, 10, 10, 2),
                                shape_box(2, 2, 2, 1)};
        struct triangle *t = mesh_triangle_edit(part[1]), k = t[0];
        ck_assert_uint_lt(first, mesh_triangles(part[1]));
        t[0] = t[first];
        t[first] = k;
        turn_all(part[2]);
        expect_back(joined_of(part, move, 3), 2, 1, 0, 1);
    }
}
END_TEST

START_TEST(a_body_mostly_inside_another) /* 1 mm of it sticks out */
{
    const double move[2][3] = {{0}, {1.5, 1.5, 4}};
    struct mesh *part[2] = {shape_box(10, 10, 10, 2), shape_box(7, 7, 7, 2)};
    expect_back(joined_of(part, move, 2), 2, 0, 0, 1);
}
END_TEST

static double hill(double x, double y)
{
    return 3 * sin(x) + 2 * cos(y);
}

START_TEST(sheets_keep_their_side)
{
    expect_back(shape_patch(10, 12, NULL), 0, 0, 1, 0.4);
    expect_back(shape_patch(10, 12, hill), 0, 0, 1, 0.4);
    struct mesh *below = shape_patch(10, 12, hill);
    turn_all(below);
    expect_back(below, 0, 0, 1, 0.4);
}
END_TEST

static bool drop_some(const struct mesh *mesh, size_t t)
{
    return mesh_point(mesh)[mesh_triangle(mesh)[t].v[0]].z > 45 || t % 97 == 0;
}

START_TEST(with_holes_it_still_has_an_outside)
{
    struct mesh *ball = shape_sphere(50, 4), *holed = shape_without(ball, drop_some);
    mesh_free(ball);
    expect_back(holed, 1, 0, 0, 1);
}
END_TEST

START_TEST(moebius_strip)
{
    enum { N = 24 };
    double point[2 * N][3];
    uint32_t face[2 * N][3];
    for (uint32_t i = 0; i < N; i++) {
        double a = 6.283185307179586 * i / N;
        for (uint32_t k = 0; k < 2; k++) {
            double w = k ? 2 : -2, r = 10 + w * cos(a / 2);
            memcpy(point[2 * i + k], (double[3]){r * cos(a), r * sin(a), w * sin(a / 2)},
                   sizeof point[0]);
        }
        bool last = i + 1 == N; /* closed with a half turn */
        uint32_t p = 2 * i, q = p + 1, r = last ? 1 : p + 2, s = last ? 0 : p + 3;
        memcpy(face[2 * i], (uint32_t[3]){p, r, q}, sizeof face[0]);
        memcpy(face[2 * i + 1], (uint32_t[3]){q, r, s}, sizeof face[0]);
    }
    struct mesh *strip =
        shape_make((const double(*)[3])point, 2 * N, (const uint32_t(*)[3])face, 2 * N);
    spoil(strip, 0.5, 9);
    struct orient_report report;
    struct mesh *out = orient_now(strip, &report);
    ck_assert_uint_eq(report.one_sided, 1);
    ck_assert_uint_ge(report.seams, 1);
    ck_assert_uint_eq(mesh_triangles(out), 2 * N);
    ck_assert_uint_eq(shape_count(out).misoriented, report.seams);
    mesh_free(out);
    mesh_free(strip);
}
END_TEST

START_TEST(boxes_that_share_an_edge) /* four triangles there: each box is closed all the same */
{
    struct mesh *part[2] = {shape_box(1, 1, 1, 1), shape_box(1, 1, 1, 1)};
    const double move[2][3] = {{0}, {1, 1, 0}};
    struct mesh *both = joined_of(part, move, 2);
    struct orient_report report;
    spoil(both, 0.5, 3);
    struct mesh *out = orient_now(both, &report);
    struct shape_count count = shape_count(out);
    ck_assert_uint_eq(count.nonmanifold, 1);
    ck_assert_uint_eq(report.outward, 2);
    ck_assert_double_eq_tol(count.volume, 2, 1e-9);
    mesh_free(out);
    mesh_free(both);
}
END_TEST

START_TEST(corners_turn_along)
{
    struct mesh *ball = shape_sphere(50, 2);
    float(*texture)[2] = mesh_attribute_new(ball, ATTRIBUTE_texture);
    spoil(ball, 0.5, 4);
    for (size_t c = 0; c < 3 * mesh_triangles(ball); c++)
        texture[c][0] = (float)mesh_triangle(ball)[c / 3].v[c % 3];
    struct orient_report report;
    struct mesh *out = orient_now(ball, &report);
    ck_assert_uint_gt(report.turned, 0);
    const float(*turned)[2] = (const float(*)[2])mesh_attribute(out, ATTRIBUTE_texture);
    for (size_t c = 0; c < 3 * mesh_triangles(out); c++)
        ck_assert_float_eq(turned[c][0], (float)mesh_triangle(out)[c / 3].v[c % 3]);
    ck_assert_ptr_eq(out->point, ball->point);
    mesh_free(out);
    mesh_free(ball);
}
END_TEST

START_TEST(nothing_to_do_and_nothing_there)
{
    struct mesh *ball = shape_sphere(50, 2), *cloud = mesh_new(3, 0);
    struct orient_report report;
    struct mesh *out = orient_now(ball, &report);
    ck_assert_ptr_eq(out, ball);
    mesh_free(out);
    struct job job;
    job_init(&job);
    ck_assert_ptr_null(orient(cloud, &report, &job));
    ck_assert_int_eq(job.status, STATUS_REFUSED);
    job_release(&job);
    job_init(&job);
    atomic_store(&job.cancel, true);
    spoil(ball, 0.5, 5);
    ck_assert_ptr_null(orient(ball, &report, &job));
    ck_assert_int_eq(job.status, STATUS_CANCELLED);
    job_release(&job);
    mesh_free(ball);
    mesh_free(cloud);
}
END_TEST

Suite *suite_orient(void);

Suite *suite_orient(void)
{
    Suite *suite = suite_create("orient");
    TCase *all = tcase_create("all");
    tcase_set_timeout(all, 20);
    tcase_add_test(all, solids);
    tcase_add_test(all, nested_shells);
    tcase_add_test(all, stacked_boxes);
    tcase_add_test(all, overlapping_bodies);
    tcase_add_test(all, a_body_mostly_inside_another);
    tcase_add_test(all, sheets_keep_their_side);
    tcase_add_test(all, with_holes_it_still_has_an_outside);
    tcase_add_test(all, moebius_strip);
    tcase_add_test(all, boxes_that_share_an_edge);
    tcase_add_test(all, corners_turn_along);
    tcase_add_test(all, nothing_to_do_and_nothing_there);
    suite_add_tcase(suite, all);
    return suite;
}
