/* Filling holes in meshes that have other faults too, and in random wrecks. */
#include <check.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "core/job.h"
#include "core/topology.h"
#include "surface/fill.h"
#include "tests/support/holes.h"
#include "tests/support/shapes.h"
#include "tests/support/wrecks.h"

/* A sphere without a cap, and fins: 0 on an edge inside, beside the rim; 1 on an edge of the rim; 2
 * two on an edge of the rim. */
static struct mesh *with_fins(int kind)
{
    struct mesh *open = holes_cut(shape_sphere(10, 3), holes_in_cap);
    const struct loops *loops = mesh_loops(open, NULL);
    uint32_t h = loops->half[loops->start[0]], fins = kind == 2 ? 2 : 1;
    uint32_t edge = kind == 0 ? half_next(h) : h;
    uint32_t a = half_from(mesh_triangle(open), edge), b = half_to(mesh_triangle(open), edge);
    size_t vertices = mesh_vertices(open), triangles = mesh_triangles(open);
    struct mesh *mesh = mesh_new(vertices + fins, triangles + fins);
    memcpy(mesh_point_edit(mesh), mesh_point(open), array_bytes(open->point));
    memcpy(mesh_triangle_edit(mesh), mesh_triangle(open), array_bytes(open->triangle));
    for (uint32_t i = 0; i < fins; i++) {
        uint32_t tip = (uint32_t)(vertices + i);
        mesh_point_edit(mesh)[tip] = (struct point){0.1f, 0.2f, 13.0f + (float)i};
        mesh_triangle_edit(mesh)[triangles + i] = (struct triangle){{b, a, tip}};
    }
    mesh->joined = true;
    mesh_free(open);
    return mesh;
}

START_TEST(fins_near_the_rim)
{
    struct fill_report report;
    struct mesh *open = with_fins(_i / 2);
    size_t many = shape_count(open).nonmanifold;
    struct mesh *mesh = holes_filled(open, _i % 2 ? FILL_SMOOTH : FILL_FLAT, 0, &report);
    struct shape_count count = shape_count(mesh);
    ck_assert_uint_le(count.nonmanifold, many);
    ck_assert_uint_eq(holes_doubles(mesh), 0);
    ck_assert_uint_ge(report.filled, 1);
    /* What stays open are the two free edges of a fin that has no other to be closed with. */
    ck_assert_uint_eq(count.boundary, 2 * report.left[FILL_LEFT_UNENDED]);
    mesh_free(mesh);
}
END_TEST

static bool in_half_of_rest(const struct vec c)
{
    return c.x + 0.3 * c.y > 0.1;
}

/* Part of the surroundings faces inward: the rim's edges run both ways. It is filled the way most
 * of it runs, and no edge stays open. */
START_TEST(misoriented_rim_is_filled_and_told)
{
    struct fill_report report;
    struct mesh *open = holes_cut(shape_sphere(10, 3), holes_in_cap);
    for (size_t t = 0; t < mesh_triangles(open); t++)
        if (in_half_of_rest(holes_centre(open, t)) && holes_centre(open, t).z > 8) {
            uint32_t *v = mesh_triangle_edit(open)[t].v, swap = v[0];
            v[0] = v[1];
            v[1] = swap;
        }
    struct mesh *mesh = holes_filled(open, _i ? FILL_SMOOTH : FILL_FLAT, 0, &report);
    ck_assert_uint_eq(report.filled, 1);
    ck_assert_uint_eq(report.crossed, 1);
    ck_assert_uint_eq(shape_count(mesh).boundary, 0);
    ck_assert_uint_eq(shape_count(mesh).nonmanifold, 0);
    mesh_free(mesh);
}
END_TEST

static uint64_t drop_seed;
static double drop_share;

static bool at_random(const struct mesh *mesh, size_t t)
{
    (void)mesh;
    uint64_t state = drop_seed << 32 | t; /* the same however often it is asked */
    return shape_random(&state) < drop_share;
}

static struct mesh *random_shape(int number)
{
    switch (number % 4) {
    case 0:
        return shape_sphere(10, 1 + number / 4 % 3);
    case 1:
        return shape_torus(40, 10, 8 + number % 7, 5 + number % 5);
    case 2:
        return shape_box(10, 8, 6, 1 + number / 4 % 6);
    default:
        return shape_patch(10, 2 + number / 4 % 9, holes_wave);
    }
}

/* 1 000 shapes that have lost triangles here and there, few or most. Afterwards no edge is open,
 * but those of lone triangles which nothing can close. */
START_TEST(random_losses_are_made_good)
{
    for (int i = 0; i < 100; i++) {
        int number = 100 * _i + i;
        struct fill_report report;
        drop_seed = (uint64_t)number;
        drop_share = 0.02 + 0.06 * (number % 11);
        struct mesh *open = holes_cut(random_shape(number), at_random);
        size_t had = holes_doubles(open);
        struct mesh *mesh = holes_filled(open, number % 3 ? FILL_SMOOTH : FILL_FLAT, 0, &report);
        struct shape_count count = shape_count(mesh);
        ck_assert_uint_eq(count.boundary, 3 * report.left[FILL_LEFT_DOUBLE]);
        ck_assert_msg(count.nonmanifold == 0, "%d: %zu non-manifold", number, count.nonmanifold);
        ck_assert_uint_eq(count.misoriented, 0);
        ck_assert_uint_eq(holes_doubles(mesh), had);
        ck_assert_uint_eq(report.left[FILL_LEFT_UNENDED], 0);
        mesh_free(mesh);
    }
}
END_TEST

/* Soups and turned-over spheres: nothing that was sound is made worse. */
START_TEST(wrecks_are_made_no_worse)
{
    for (int i = 0; i < 50; i++) {
        struct fill_report report;
        struct mesh *open = wreck(50 * _i + i);
        struct shape_count before = shape_count(open);
        size_t had = holes_doubles(open);
        struct mesh *mesh = holes_filled(open, i % 2 ? FILL_SMOOTH : FILL_FLAT, 0, &report);
        struct shape_count count = shape_count(mesh);
        ck_assert_msg(count.nonmanifold <= before.nonmanifold, "wreck %d", 50 * _i + i);
        ck_assert_uint_le(count.boundary, before.boundary);
        ck_assert_uint_le(holes_doubles(mesh), had);
        for (size_t v = 0; v < mesh_vertices(mesh); v++)
            ck_assert(isfinite(mesh_point(mesh)[v].x) && isfinite(mesh_point(mesh)[v].y) &&
                      isfinite(mesh_point(mesh)[v].z));
        mesh_free(mesh);
    }
}
END_TEST

/* The same mesh at the ends of what floats can hold. */
START_TEST(huge_and_tiny_coordinates)
{
    static const double size[] = {1e-30, 1e-12, 1e12, 1e30};
    struct fill_report report;
    struct mesh *open = holes_cut(shape_sphere(size[_i], 3), holes_in_cap);
    struct mesh *mesh = holes_filled(open, FILL_SMOOTH, 0, &report);
    holes_expect_closed(mesh, 2);
    for (size_t v = 0; v < mesh_vertices(mesh); v++)
        ck_assert_double_le(vec_length(point_vec(mesh_point(mesh)[v])), 1.05 * size[_i]);
    mesh_free(mesh);
}
END_TEST

Suite *suite_fill_faults(void);
Suite *suite_fill_faults(void)
{
    Suite *suite = suite_create("fill_faults");
    TCase *tcase = tcase_create("faults");
    tcase_set_timeout(tcase, 300);
    tcase_add_loop_test(tcase, fins_near_the_rim, 0, 6);
    tcase_add_loop_test(tcase, misoriented_rim_is_filled_and_told, 0, 2);
    tcase_add_loop_test(tcase, random_losses_are_made_good, 0, 10);
    tcase_add_loop_test(tcase, wrecks_are_made_no_worse, 0, getenv("FETTLE_LONG") ? 10 : 4);
    tcase_add_loop_test(tcase, huge_and_tiny_coordinates, 0, 4);
    suite_add_tcase(suite, tcase);
    return suite;
}
