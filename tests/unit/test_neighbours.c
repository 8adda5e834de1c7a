/* The nearest points of a cloud against trying every point; normals estimated from points. */
#include <check.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "core/job.h"
#include "core/subset.h"
#include "core/topology.h"
#include "core/tree.h"
#include "scan/normals.h"
#include "tests/support/shapes.h"

Suite *suite_neighbours(void);

static struct vec random_vec(uint64_t *seed, double size)
{
    double x = shape_random(seed) - 0.5, y = shape_random(seed) - 0.5;
    return vec(size * x, size * y, size * (shape_random(seed) - 0.5));
}

static struct mesh *random_cloud(size_t count, double size, bool repeat, uint64_t *seed)
{
    struct mesh *cloud = mesh_new(count, 0);
    for (size_t v = 0; v < count; v++) {
        struct point *p = mesh_point_edit(cloud);
        p[v] = repeat && v % 3 == 2 ? p[v - 1] : vec_point(random_vec(seed, size));
    }
    return cloud;
}

static int by_distance(const void *a, const void *b)
{
    const struct neighbour *x = a, *y = b;
    if (x->distance2 != y->distance2)
        return x->distance2 < y->distance2 ? -1 : 1;
    return (x->vertex > y->vertex) - (x->vertex < y->vertex);
}

static void expect_nearest(const struct mesh *cloud, struct vec at, double reach, size_t most)
{
    size_t count = mesh_vertices(cloud), within = 0;
    struct neighbour *all = malloc((count + 1) * sizeof *all), near[400];
    for (size_t v = 0; v < count; v++) {
        double d2 = vec_length2(vec_sub(at, point_vec(mesh_point(cloud)[v])));
        if (sqrt(d2) <= reach)
            all[within++] = (struct neighbour){d2, (uint32_t)v};
    }
    qsort(all, within, sizeof *all, by_distance);
    size_t found = tree_neighbours(mesh_tree(cloud, NULL), at, reach, most, near);
    ck_assert_uint_eq(found, within < most ? within : most);
    for (size_t i = 0; i < found; i++) {
        ck_assert_uint_eq(near[i].vertex, all[i].vertex);
        ck_assert_double_eq(near[i].distance2, all[i].distance2);
    }
    free(all);
}

START_TEST(nearest_points_are_those_of_trying_all)
{
    static const size_t counts[] = {1, 3, 5, 64, 1000};
    static const double sizes[] = {1, 1e-20, 1e15};
    uint64_t seed = 11;
    for (size_t c = 0; c < sizeof counts / sizeof *counts; c++)
        for (size_t s = 0; s < sizeof sizes / sizeof *sizes; s++) {
            struct mesh *cloud = random_cloud(counts[c], sizes[s], c % 2, &seed);
            for (int i = 0; i < 60; i++) {
                struct vec at = random_vec(&seed, sizes[s] * (i % 3 ? 1 : 5));
                at = i % 5 ? at : point_vec(mesh_point(cloud)[(size_t)i % counts[c]]);
                double reach = i % 2 ? INFINITY : sizes[s] * 0.4 * shape_random(&seed);
                expect_nearest(cloud, at, reach, 1 + (size_t)((i % 4 ? 69 : 399) * shape_random(&seed)));
            }
            mesh_free(cloud);
        }
}
END_TEST

START_TEST(nothing_where_nothing_is)
{
    struct neighbour near[4];
    struct mesh *none = mesh_new(0, 0), *ball = shape_sphere(1, 1), *cloud = mesh_cloud(ball, NULL);
    ck_assert_uint_eq(tree_neighbours(mesh_tree(none, NULL), vec(0, 0, 0), INFINITY, 4, near), 0);
    ck_assert_uint_eq(tree_neighbours(mesh_tree(ball, NULL), vec(0, 0, 0), INFINITY, 4, near), 0);
    ck_assert_uint_eq(tree_neighbours(mesh_tree(cloud, NULL), vec(NAN, 0, 0), 1, 4, near), 0);
    ck_assert_uint_eq(tree_neighbours(mesh_tree(cloud, NULL), vec(0, 0, 0), NAN, 4, near), 0);
    ck_assert_uint_eq(tree_neighbours(mesh_tree(cloud, NULL), vec(0, 0, 0), 5, 0, near), 0);
    mesh_free(none);
    mesh_free(ball);
    mesh_free(cloud);
}
END_TEST

/* --- normals --------------------------------------------------------------------------------- */

static double worst_angle(const struct mesh *mesh, const struct point *normal)
{
    const struct normals *truth = mesh_normals(mesh, NULL);
    double least = 1;
    for (size_t v = 0; v < mesh_vertices(mesh); v++)
        least = fmin(least, vec_dot(point_vec(normal[v]), point_vec(truth->vertex[v])));
    return acos(fmin(1, least)) * 180 / acos(-1);
}

START_TEST(a_closed_surface_faces_out)
{
    struct mesh *shape[2] = {shape_sphere(50, 4), shape_torus(40, 10, 120, 40)};
    for (int i = 0; i < 2; i++) {
        struct point *normal = normals_estimate(shape[i], NORMALS_AROUND, NULL);
        ck_assert_double_lt(worst_angle(shape[i], normal), 4);
        scratch_free(normal);
        mesh_free(shape[i]);
    }
}
END_TEST

static double ripple(double x, double y)
{
    return 2 * sin(x / 3) * cos(y / 4);
}

START_TEST(a_sheet_faces_up)
{
    struct mesh *sheet = shape_patch(40, 80, ripple);
    struct point *normal = normals_estimate(sheet, NORMALS_AROUND, NULL);
    ck_assert_double_lt(worst_angle(sheet, normal), 15); /* at the rim the plane leans */
    scratch_free(normal);
    mesh_free(sheet);
}
END_TEST

START_TEST(thin_walls_do_not_mix)
{
    /* Two skins of a plate 2 mm thick, points 0.5 mm apart: opposite ways, each outward. */
    struct mesh *box = shape_box(40, 40, 2, 80);
    struct point *normal = normals_estimate(box, 10, NULL);
    size_t wrong = 0;
    for (size_t v = 0; v < mesh_vertices(box); v++) {
        struct point p = mesh_point(box)[v];
        bool inner = p.x > 2 && p.x < 38 && p.y > 2 && p.y < 38;
        wrong += inner && (p.z > 1 ? normal[v].z < 0.99f : normal[v].z > -0.99f);
    }
    ck_assert_uint_eq(wrong, 0);
    scratch_free(normal);
    mesh_free(box);
}
END_TEST

START_TEST(any_number_of_threads_gives_the_same)
{
    uint64_t seed = 3;
    struct mesh *cloud = random_cloud(5000, 20, true, &seed);
    struct point *one[2];
    for (int i = 0; i < 2; i++) {
        struct job job;
        job_init(&job);
        job.threads = 1 + 2 * i;
        one[i] = normals_estimate(cloud, NORMALS_AROUND, &job);
        job_release(&job);
    }
    ck_assert_mem_eq(one[0], one[1], mesh_vertices(cloud) * sizeof *one[0]);
    scratch_free(one[0]);
    scratch_free(one[1]);
    mesh_free(cloud);
}
END_TEST

START_TEST(few_points_and_lines)
{
    for (size_t count = 0; count < 5; count++) {
        struct mesh *cloud = mesh_new(count, 0);
        for (size_t v = 0; v < count; v++)
            mesh_point_edit(cloud)[v] = (struct point){(float)v, 2 * (float)v, 1};
        struct point *normal = normals_estimate(cloud, NORMALS_AROUND, NULL);
        ck_assert_ptr_nonnull(normal);
        for (size_t v = 0; v < count; v++) /* a line has no normal */
            ck_assert_double_eq(vec_length(point_vec(normal[v])), 0);
        scratch_free(normal);
        mesh_free(cloud);
    }
}
END_TEST

START_TEST(given_normals_are_kept)
{
    struct mesh *ball = shape_sphere(10, 2), *cloud = mesh_cloud(ball, NULL);
    struct point *given = mesh_attribute_new(cloud, ATTRIBUTE_normal);
    for (size_t v = 0; v < mesh_vertices(cloud); v++)
        given[v] = v ? (struct point){0, 3, 0} : (struct point){0, 0, 0};
    struct point *normal = normals_of(cloud, NULL);
    ck_assert_float_eq(normal[0].y, 0);
    ck_assert_float_eq(normal[1].y, 1);
    scratch_free(normal);
    normal = normals_of(ball, NULL);
    ck_assert_double_lt(worst_angle(ball, normal), 0.1);
    scratch_free(normal);
    mesh_free(ball);
    mesh_free(cloud);
}
END_TEST

START_TEST(cancelled)
{
    struct job job;
    job_init(&job);
    job.cancel = true;
    struct mesh *ball = shape_sphere(10, 3);
    ck_assert_ptr_null(normals_estimate(ball, NORMALS_AROUND, &job));
    ck_assert_int_eq(job.status, STATUS_CANCELLED);
    job_release(&job);
    mesh_free(ball);
}
END_TEST

Suite *suite_neighbours(void)
{
    Suite *suite = suite_create("neighbours");
    TCase *all = tcase_create("all");
    tcase_set_timeout(all, 20);
    tcase_add_test(all, nearest_points_are_those_of_trying_all);
    tcase_add_test(all, nothing_where_nothing_is);
    tcase_add_test(all, a_closed_surface_faces_out);
    tcase_add_test(all, a_sheet_faces_up);
    tcase_add_test(all, thin_walls_do_not_mix);
    tcase_add_test(all, any_number_of_threads_gives_the_same);
    tcase_add_test(all, few_points_and_lines);
    tcase_add_test(all, given_normals_are_kept);
    tcase_add_test(all, cancelled);
    suite_add_tcase(suite, all);
    return suite;
}
