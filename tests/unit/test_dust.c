/* Floating bits go, by share of area or by length; what stays is untouched. */
#include <check.h>
#include <string.h>

#include "core/job.h"
#include "core/subset.h"
#include "surface/dust.h"
#include "tests/support/shapes.h"

/* A ball of radius 50 with one of 5 (1 % of its area) and one of 1 (0.04 %) beside it. */
static struct mesh *three_balls(void)
{
    struct mesh *ball[] = {shape_sphere(1, 2), shape_sphere(50, 3), shape_sphere(5, 2)};
    static const double move[][3] = {{70, 0, 0}, {0, 0, 0}, {0, 70, 0}};
    struct mesh *all = shape_join((const struct mesh *const *)ball, move, 3);
    for (int i = 0; i < 3; i++)
        mesh_free(ball[i]);
    return all;
}

/* How many bits go and how many triangles stay: 1280 + 2 * 320. The areas' shares are 0.0099 and 0.0004,
 * the boxes' diagonals 3.4 and 17 mm. */
static const struct {
    struct dust_limit limit;
    size_t gone, stay;
} cases[] = {
    {{true, 0}, 0, 1920},     {{true, 0.001}, 1, 1600}, {{true, 0.02}, 2, 1280}, {{true, 1}, 2, 1280},
    {{false, 2}, 0, 1920},    {{false, 6}, 1, 1600},    {{false, 30}, 2, 1280},  {{false, 1e6}, 2, 1280},
};

START_TEST(small_ones_go)
{
    struct mesh *all = three_balls();
    struct dust_report report;
    struct mesh *rest = dust(all, cases[_i].limit, &report, NULL);
    ck_assert_ptr_nonnull(rest);
    ck_assert_uint_eq(report.components, cases[_i].gone);
    ck_assert_uint_eq(report.left, 3 - cases[_i].gone);
    ck_assert_uint_eq(mesh_triangles(rest), cases[_i].stay);
    struct shape_count count = shape_count(rest);
    ck_assert_uint_eq(count.boundary, 0);
    ck_assert_uint_eq(mesh_vertices(rest), cases[_i].stay / 2 + 2 * report.left);
    mesh_free(rest);
    mesh_free(all);
}
END_TEST

START_TEST(attributes_go_along)
{
    struct mesh *all = three_balls();
    uint8_t(*colour)[4] = mesh_attribute_new(all, ATTRIBUTE_colour);
    for (size_t v = 0; v < mesh_vertices(all); v++)
        memset(colour[v], (int)(v % 251), 4);
    uint16_t *material = mesh_attribute_new(all, ATTRIBUTE_material);
    for (size_t t = 0; t < mesh_triangles(all); t++)
        material[t] = (uint16_t)t;
    struct dust_report report;
    struct mesh *rest = dust(all, (struct dust_limit){true, 0.02}, &report, NULL);
    size_t first_vertex = 162; /* of the second ball: the first has 320 triangles, 162 vertices */
    const uint8_t *after = mesh_attribute(rest, ATTRIBUTE_colour);
    const uint16_t *still = mesh_attribute(rest, ATTRIBUTE_material);
    for (size_t v = 0; v < mesh_vertices(rest); v++)
        ck_assert_uint_eq(after[4 * v], (v + first_vertex) % 251);
    for (size_t t = 0; t < mesh_triangles(rest); t++)
        ck_assert_uint_eq(still[t], t + 320);
    mesh_free(rest);
    mesh_free(all);
}
END_TEST

START_TEST(a_cloud_is_refused_and_nothing_is_nothing)
{
    struct job job;
    struct dust_report report;
    job_init(&job);
    struct mesh *cloud = mesh_new(10, 0);
    memset(mesh_point_edit(cloud), 0, 10 * sizeof(struct point));
    ck_assert_ptr_null(dust(cloud, (struct dust_limit){true, 0.01}, &report, &job));
    ck_assert_int_eq(job.status, STATUS_REFUSED);
    job_release(&job);
    mesh_free(cloud);
}
END_TEST

START_TEST(keeping_all_shares)
{
    struct mesh *box = shape_box(1, 2, 3, 1);
    uint8_t keep[12];
    memset(keep, 1, sizeof keep);
    struct mesh *same = mesh_subset(box, keep, NULL);
    ck_assert_ptr_eq(same, box);
    memset(keep, 0, sizeof keep);
    struct mesh *none = mesh_subset(box, keep, NULL);
    ck_assert_uint_eq(mesh_triangles(none), 0);
    ck_assert_uint_eq(mesh_vertices(none), 0);
    mesh_free(none);
    mesh_free(same);
    mesh_free(box);
}
END_TEST

Suite *suite_dust(void);

Suite *suite_dust(void)
{
    Suite *suite = suite_create("dust");
    TCase *tests = tcase_create("dust");
    tcase_add_loop_test(tests, small_ones_go, 0, sizeof cases / sizeof *cases);
    tcase_add_test(tests, attributes_go_along);
    tcase_add_test(tests, a_cloud_is_refused_and_nothing_is_nothing);
    tcase_add_test(tests, keeping_all_shares);
    suite_add_tcase(suite, tests);
    return suite;
}
