#include <check.h>
#include <stdlib.h>
#include <string.h>

#include "core/job.h"
#include "core/join.h"
#include "tests/support/shapes.h"

START_TEST(one_mesh_alone_is_shared)
{
    struct mesh *box = shape_box(1, 2, 3, 1);
    const struct mesh *parts[] = {box};
    struct mesh *all = mesh_join(parts, 1, NULL);
    ck_assert_ptr_eq(all, box);
    mesh_free(all);
    mesh_free(box);
}
END_TEST

START_TEST(meshes_are_joined_where_they_lie)
{
    struct mesh *box = shape_box(1, 2, 3, 1), *ball = shape_sphere(5, 1);
    box->origin[0] = 1e6;
    ball->origin[0] = 1e6 + 100;
    ball->origin[2] = -7;
    const struct mesh *parts[] = {box, ball};
    struct mesh *all = mesh_join(parts, 2, NULL);
    ck_assert_uint_eq(mesh_vertices(all), mesh_vertices(box) + mesh_vertices(ball));
    ck_assert_uint_eq(mesh_triangles(all), mesh_triangles(box) + mesh_triangles(ball));
    ck_assert(!all->joined);
    for (size_t v = 0; v < mesh_vertices(ball); v++) {
        struct vec was = mesh_world(ball, point_vec(mesh_point(ball)[v]));
        struct vec is = mesh_world(all, point_vec(mesh_point(all)[mesh_vertices(box) + v]));
        ck_assert_double_eq_tol(is.x, was.x, 1e-5);
        ck_assert_double_eq_tol(is.y, was.y, 1e-5);
        ck_assert_double_eq_tol(is.z, was.z, 1e-5);
    }
    struct shape_count a = shape_count(box), b = shape_count(ball), both = shape_count(all);
    ck_assert_double_eq_tol(both.volume, a.volume + b.volume, 1e-3);
    ck_assert_uint_eq(both.boundary, 0);
    mesh_free(all);
    mesh_free(box);
    mesh_free(ball);
}
END_TEST

START_TEST(attributes_are_carried_and_made_up_where_they_lack)
{
    struct mesh *box = shape_box(1, 2, 3, 1), *ball = shape_sphere(5, 0);
    uint8_t *colour = mesh_attribute_new(ball, ATTRIBUTE_colour);
    memset(colour, 17, 4 * mesh_vertices(ball));
    uint16_t *source = mesh_attribute_new(box, ATTRIBUTE_source);
    for (size_t t = 0; t < mesh_triangles(box); t++)
        source[t] = (uint16_t)(t + 1);
    const struct mesh *parts[] = {box, ball};
    struct mesh *all = mesh_join(parts, 2, NULL);
    const uint8_t *colours = mesh_attribute(all, ATTRIBUTE_colour);
    const uint16_t *sources = mesh_attribute(all, ATTRIBUTE_source);
    for (size_t i = 0; i < 4 * mesh_vertices(all); i++)
        ck_assert_uint_eq(colours[i], i < 4 * mesh_vertices(box) ? 255 : 17);
    for (size_t t = 0; t < mesh_triangles(all); t++)
        ck_assert_uint_eq(sources[t], t < mesh_triangles(box) ? t + 1 : 0);
    ck_assert_ptr_null(mesh_attribute(all, ATTRIBUTE_normal));
    mesh_free(all);
    mesh_free(box);
    mesh_free(ball);
}
END_TEST

START_TEST(nothing_at_all_is_an_empty_mesh_of_points)
{
    struct mesh *none = mesh_new(0, 0);
    const struct mesh *parts[] = {none, none};
    struct mesh *all = mesh_join(parts, 2, NULL);
    ck_assert_uint_eq(mesh_vertices(all), 0);
    mesh_free(all);
    mesh_free(none);
}
END_TEST

Suite *suite_join(void);

Suite *suite_join(void)
{
    Suite *suite = suite_create("join");
    TCase *tests = tcase_create("join");
    tcase_add_test(tests, one_mesh_alone_is_shared);
    tcase_add_test(tests, meshes_are_joined_where_they_lie);
    tcase_add_test(tests, attributes_are_carried_and_made_up_where_they_lack);
    tcase_add_test(tests, nothing_at_all_is_an_empty_mesh_of_points);
    suite_add_tcase(suite, tests);
    return suite;
}
