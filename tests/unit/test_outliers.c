/* Stray points go; rims, corners, sparse parts and everything else of a surface stay. */
#include <check.h>
#include <stdlib.h>
#include <string.h>

#include "core/job.h"
#include "core/topology.h"
#include "scan/outliers.h"
#include "tests/support/shapes.h"

static const struct outliers_options plain = {3, 16};

static double gauss(uint64_t *state)
{
    double u = shape_random(state), v = shape_random(state);
    return sqrt(-2 * log(u + 1e-300)) * cos(6.283185307179586 * v);
}

static struct mesh *shaken(struct mesh *mesh, double by)
{
    uint64_t state = 3;
    for (size_t v = 0; v < mesh_vertices(mesh); v++) {
        struct point *p = &mesh_point_edit(mesh)[v];
        p->x += (float)(by * gauss(&state));
        p->y += (float)(by * gauss(&state));
        p->z += (float)(by * gauss(&state));
    }
    return mesh;
}

/* The mesh's points with `more` after them, undefined. */
static struct mesh *cloud_of(struct mesh *mesh, size_t more)
{
    struct mesh *cloud = mesh_new(mesh_vertices(mesh) + more, 0);
    memcpy(mesh_point_edit(cloud), mesh_point(mesh), array_bytes(mesh->point));
    mesh_free(mesh);
    return cloud;
}

/* With one thread and with two; the result must be the same. */
static struct mesh *dropped(struct mesh *mesh, const struct outliers_options *options,
                            struct outliers_report *report)
{
    struct mesh *rest[2];
    for (int i = 0; i < 2; i++) {
        struct job job;
        job_init(&job);
        job.threads = i + 1;
        rest[i] = outliers(mesh, options, report, &job);
        ck_assert_msg(rest[i] != NULL, "%s", job.message);
        job_release(&job);
    }
    ck_assert_uint_eq(mesh_vertices(rest[0]), mesh_vertices(rest[1]));
    ck_assert(memcmp(mesh_point(rest[0]), mesh_point(rest[1]), array_bytes(rest[0]->point)) == 0);
    ck_assert_uint_eq(mesh_vertices(rest[0]), report->left);
    ck_assert_uint_eq(report->left + report->strays + report->unused, mesh_vertices(mesh));
    ck_assert_uint_eq(report->triangles, mesh_triangles(mesh) - mesh_triangles(rest[0]));
    mesh_free(rest[1]);
    mesh_free(mesh);
    return rest[0];
}

/* --- what stays ------------------------------------------------------------------------------ */

static struct mesh *shape(int i)
{
    switch (i) {
    case 0:
        return shape_sphere(20, 5);
    case 1:
        return shape_torus(30, 8, 180, 50);
    case 2:
        return shape_box(30, 30, 30, 40);
    case 3:
        return shape_patch(60, 80, NULL); /* rims and corners */
    case 4:
        return shaken(shape_sphere(20, 5), 0.1); /* a fifth of the spacing */
    case 5:
        return shaken(shape_patch(60, 80, NULL), 0.15);
    default:
        return shaken(shape_box(30, 30, 30, 40), 0.15);
    }
}
enum { SHAPES = 7 };

START_TEST(a_surface_has_no_strays)
{
    struct outliers_report report;
    struct mesh *mesh = shape(_i), *same = outliers(mesh, &plain, &report, NULL);
    ck_assert_ptr_eq(same, mesh);
    ck_assert_uint_eq(report.strays, 0);
    mesh_free(same);
    mesh_free(mesh);
}
END_TEST

START_TEST(nor_has_a_cloud)
{
    struct outliers_report report;
    struct mesh *cloud = cloud_of(shape(_i), 0), *same = outliers(cloud, &plain, &report, NULL);
    ck_assert_ptr_eq(same, cloud);
    ck_assert_uint_eq(report.strays, 0);
    mesh_free(same);
    mesh_free(cloud);
}
END_TEST

/* Two patches side by side, one of a third of the other's spacing, so of nine times its density. */
START_TEST(sparse_parts_stay)
{
    struct mesh *fine = shape_patch(30, 90, NULL), *coarse = shape_patch(30, 30, NULL);
    const struct mesh *both[] = {fine, coarse};
    const double move[][3] = {{0, 0, 0}, {31, 0, 0}};
    struct outliers_report report;
    struct mesh *all = shape_join(both, move, 2);
    mesh_free(fine);
    mesh_free(coarse);
    mesh_free(dropped(cloud_of(all, 0), &plain, &report));
    ck_assert_uint_eq(report.strays, 0);
}
END_TEST

/* --- what goes ------------------------------------------------------------------------------- */

enum { BALL = 10242, STRAYS = 200 }; /* points of a sphere of level 5, about 0.7 mm apart */

/* Strays at 3 mm and more above a ball of radius 20, each on its own. */
START_TEST(strays_around_a_ball_go)
{
    struct mesh *cloud = cloud_of(shaken(shape_sphere(20, 5), 0.03), STRAYS);
    uint64_t state = 11;
    for (size_t i = 0; i < STRAYS; i++) {
        struct vec along = vec_unit(vec(gauss(&state), gauss(&state), gauss(&state)));
        mesh_point_edit(cloud)[BALL + i] =
            vec_point(vec_scale(along, 23 + 30 * shape_random(&state)));
    }
    struct outliers_report report;
    struct mesh *rest = dropped(cloud, &plain, &report);
    ck_assert_uint_eq(mesh_vertices(rest), BALL);
    for (size_t v = 0; v < BALL; v++)
        ck_assert_double_lt(vec_length(point_vec(mesh_point(rest)[v])), 21);
    ck_assert_double_eq_tol(report.spacing, 0.6, 0.15);
    mesh_free(rest);
}
END_TEST

/* Specks of as many points as the loop says, 0.3 mm wide, 6 mm off. */
START_TEST(specks_go)
{
    enum { SPECKS = 10 };
    size_t each = (size_t)_i;
    struct mesh *cloud = cloud_of(shaken(shape_sphere(20, 5), 0.03), SPECKS * each);
    uint64_t state = 5;
    for (size_t i = 0; i < SPECKS; i++) {
        double z = 0.9 - 0.2 * (double)i, turn = 2.4 * (double)i; /* far from each other */
        struct vec middle =
            vec_scale(vec(sqrt(1 - z * z) * cos(turn), sqrt(1 - z * z) * sin(turn), z), 26);
        for (size_t k = 0; k < each; k++)
            mesh_point_edit(cloud)[BALL + i * each + k] = vec_point(vec_add(
                middle, vec(0.15 * gauss(&state), 0.15 * gauss(&state), 0.15 * gauss(&state))));
    }
    struct outliers_report report;
    mesh_free(dropped(cloud, &plain, &report));
    ck_assert_uint_eq(report.strays, SPECKS * each);
}
END_TEST

/* So many that they are each other's neighbours. */
START_TEST(strays_that_fill_the_air_go)
{
    enum { MANY = 2000 };
    struct mesh *cloud = cloud_of(shaken(shape_sphere(20, 5), 0.03), MANY);
    uint64_t state = 8;
    size_t near = 0;
    for (size_t i = 0; i < MANY; i++) {
        struct vec p = vec(100 * shape_random(&state) - 50, 100 * shape_random(&state) - 50,
                           100 * shape_random(&state) - 50);
        mesh_point_edit(cloud)[BALL + i] = vec_point(p);
        near += fabs(vec_length(p) - 20) < 2;
    }
    struct outliers_report report;
    struct mesh *rest = dropped(cloud, &plain, &report);
    size_t ball = 0;
    for (size_t v = 0; v < mesh_vertices(rest); v++)
        ball += fabs(vec_length(point_vec(mesh_point(rest)[v])) - 20) < 0.2;
    ck_assert_uint_ge(ball, BALL);
    /* One in fifty looks like a sheet by chance. */
    ck_assert_uint_ge(report.strays, (MANY - near) * 49 / 50);
    mesh_free(rest);
}
END_TEST

/* Every 200th vertex of a patch pulled up by 2 mm: it goes with its triangles, nothing else does.
 */
START_TEST(spikes_of_a_mesh_go)
{
    struct mesh *patch = shaken(shape_patch(60, 80, NULL), 0.03);
    size_t spikes = 0, faces = 0;
    uint8_t *spike = calloc(mesh_vertices(patch), 1);
    uint8_t *colour = mesh_attribute_new(patch, ATTRIBUTE_colour);
    for (size_t v = 100; v < mesh_vertices(patch); v += 200) {
        mesh_point_edit(patch)[v].z += 2;
        spike[v] = 1;
        spikes++;
    }
    for (size_t i = 0; i < 4 * mesh_vertices(patch); i++)
        colour[i] = spike[i / 4] ? 255 : 7;
    for (size_t t = 0; t < mesh_triangles(patch); t++) {
        const uint32_t *v = mesh_triangle(patch)[t].v;
        faces += spike[v[0]] || spike[v[1]] || spike[v[2]];
    }
    struct outliers_report report;
    struct mesh *rest = dropped(patch, &plain, &report);
    ck_assert_uint_eq(report.strays, spikes);
    ck_assert_uint_eq(report.triangles, faces);
    const uint8_t *after = mesh_attribute(rest, ATTRIBUTE_colour);
    for (size_t i = 0; i < 4 * mesh_vertices(rest); i++)
        ck_assert_uint_eq(after[i], 7);
    mesh_free(rest);
    free(spike);
}
END_TEST

START_TEST(unused_points_of_a_mesh_go)
{
    struct mesh *ball = shape_sphere(20, 3);
    struct mesh *more = mesh_new(mesh_vertices(ball) + 3, mesh_triangles(ball));
    memcpy(mesh_point_edit(more), mesh_point(ball), array_bytes(ball->point));
    memcpy(mesh_triangle_edit(more), mesh_triangle(ball), array_bytes(ball->triangle));
    for (int i = 0; i < 3; i++)
        mesh_point_edit(more)[mesh_vertices(ball) + (size_t)i] = (struct point){99, 99, (float)i};
    struct outliers_report report;
    struct mesh *rest = dropped(more, &plain, &report);
    ck_assert_uint_eq(report.unused, 3);
    ck_assert_uint_eq(report.strays, 0);
    ck_assert_uint_eq(mesh_vertices(rest), mesh_vertices(ball));
    ck_assert_double_eq_tol(shape_count(rest).volume, shape_count(ball).volume, 1e-9);
    mesh_free(rest);
    mesh_free(ball);
}
END_TEST

/* More sigma takes less, never something else. */
START_TEST(sigma_orders_what_goes)
{
    size_t before = SIZE_MAX;
    for (double sigma = 1; sigma <= 16; sigma *= 2) {
        struct mesh *cloud = cloud_of(shaken(shape_patch(60, 80, NULL), 0.3), 50);
        uint64_t state = 2;
        for (size_t i = 0; i < 50; i++)
            mesh_point_edit(cloud)[81 * 81 + i] =
                (struct point){(float)(60 * shape_random(&state)),
                               (float)(60 * shape_random(&state)), (float)(1 + i)};
        const struct outliers_options options = {sigma, 16};
        struct outliers_report report;
        mesh_free(dropped(cloud, &options, &report));
        ck_assert_uint_le(report.strays, before);
        before = report.strays;
    }
    ck_assert_uint_lt(before, 50);
}
END_TEST

/* --- odd input ------------------------------------------------------------------------------- */

START_TEST(sizes_are_alike)
{
    static const double scales[] = {1e-15, 1e-3, 1e10, 1e30};
    struct mesh *cloud = cloud_of(shape_sphere(20, 4), 1);
    mesh_point_edit(cloud)[mesh_vertices(cloud) - 1] = (struct point){30, 0, 0};
    for (size_t v = 0; v < mesh_vertices(cloud); v++) {
        struct point *p = &mesh_point_edit(cloud)[v];
        *p = vec_point(vec_scale(point_vec(*p), scales[_i]));
    }
    struct outliers_report report;
    mesh_free(dropped(cloud, &plain, &report));
    ck_assert_uint_eq(report.strays, 1);
    ck_assert_double_eq_tol(report.spacing / scales[_i], 1.1, 0.4);
}
END_TEST

START_TEST(few_points_and_none)
{
    struct outliers_report report;
    for (size_t n = 1; n < 6; n++) {
        struct mesh *cloud = mesh_new(n, 0);
        for (size_t v = 0; v < n; v++)
            mesh_point_edit(cloud)[v] =
                (struct point){(float)(v % 2), 0, 0}; /* repeated ones too */
        struct mesh *rest = dropped(cloud, &plain, &report);
        ck_assert_uint_eq(report.strays, 0);
        mesh_free(rest);
    }
    static const double corner[4][3] = {{0, 0, 0}, {1, 0, 0}, {0, 1, 0}, {0, 0, 0}};
    static const uint32_t face[2][3] = {{0, 1, 2}, {0, 3, 0}}; /* the second without area */
    mesh_free(dropped(shape_make(corner, 4, face, 2), &plain, &report));
    ck_assert_uint_eq(report.strays, 0);
    struct mesh *empty = mesh_new(0, 0);
    struct job job;
    job_init(&job);
    ck_assert_ptr_null(outliers(empty, &plain, &report, &job));
    ck_assert_int_eq(job.status, STATUS_REFUSED);
    job_release(&job);
    mesh_free(empty);
}
END_TEST

Suite *suite_outliers(void);

Suite *suite_outliers(void)
{
    Suite *suite = suite_create("outliers");
    TCase *tests = tcase_create("outliers");
    tcase_set_timeout(tests, 60);
    tcase_add_loop_test(tests, a_surface_has_no_strays, 0, SHAPES);
    tcase_add_loop_test(tests, nor_has_a_cloud, 0, SHAPES);
    tcase_add_test(tests, sparse_parts_stay);
    tcase_add_test(tests, strays_around_a_ball_go);
    tcase_add_loop_test(tests, specks_go, 1, 12);
    tcase_add_test(tests, strays_that_fill_the_air_go);
    tcase_add_test(tests, spikes_of_a_mesh_go);
    tcase_add_test(tests, unused_points_of_a_mesh_go);
    tcase_add_test(tests, sigma_orders_what_goes);
    tcase_add_loop_test(tests, sizes_are_alike, 0, 4);
    tcase_add_test(tests, few_points_and_none);
    suite_add_tcase(suite, tests);
    return suite;
}
