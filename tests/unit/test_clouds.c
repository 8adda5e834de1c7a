/* Point clouds in every operation: what can be done with them is done, else it is said what to do;
 * figures of clouds; single bits of surfaces and clouds. */
#include <check.h>
#include <stdlib.h>
#include <string.h>

#include "check/check.h"
#include "core/job.h"
#include "core/nth.h"
#include "core/apart.h"
#include "op/op.h"
#include "tests/support/shapes.h"

/* --- scenes ---------------------------------------------------------------------------------- */

static struct mesh *points_of(struct mesh *mesh)
{
    struct mesh *cloud = mesh_new(mesh_vertices(mesh), 0);
    memcpy(mesh_point_edit(cloud), mesh_point(mesh), array_bytes(mesh->point));
    mesh_free(mesh);
    return cloud;
}

/* A ball of radius 20 at 0, one of radius 4 at 40,0,0. */
static struct mesh *two_balls(bool cloud)
{
    struct mesh *ball[] = {shape_sphere(20, 4), shape_sphere(4, 3)};
    static const double move[][3] = {{0, 0, 0}, {40, 0, 0}};
    struct mesh *all = shape_join((const struct mesh *const *)ball, move, 2);
    mesh_free(ball[0]);
    mesh_free(ball[1]);
    return cloud ? points_of(all) : all;
}

static struct scene *scene_of(struct mesh *mesh)
{
    struct scene *scene = scene_new();
    ck_assert_int_eq(scene_add(scene, piece_new(mesh, "scan"), NULL), STATUS_OK);
    return scene;
}

/* Runs the line; `told` must occur in the notes or in the message. *out only when it is done. */
static enum status run(struct scene *in, const char *line, const char *told, struct scene **out)
{
    struct job job;
    struct step step;
    job_init(&job);
    ck_assert_msg(step_parse(line, &step, &job) == STATUS_OK, "%s", job.message);
    enum status status = step_run(&step, in, out, &job);
    const char *said = status == STATUS_OK ? job.notes : job.message;
    ck_assert_msg(!*told || (said && strstr(said, told)), "%s: %s", line, said);
    step_release(&step);
    job_release(&job);
    return status;
}

/* --- operations ------------------------------------------------------------------------------ */

/* The balls have 2562 and 642 points. What stays, or 0: it is refused. */
static const struct {
    const char *line, *told;
    size_t left;
} lines[] = {
    {"cut through=30,0,0 normal=-x", "642 points cut off", 2562},
    {"cut through=30,0,0 normal=x cap=no", "2562 points cut off", 642},
    {"scale by=2", "2 times as large", 3204},
    {"move 1,2,3", "", 3204},
    {"turn axis=z by=90", "", 3204},
    {"stand", "stands on", 3204},
    {"weld", "no vertices to join", 3204},
    {"outliers", "no stray points", 3204},
    {"drop 40,0,5", "642 points gone; 2562 stay", 2562},
    {"drop 40,0,5 others=yes", "2562 points gone; 642 stay", 642},
    {"drop 0,0,21", "no small bit but most of it", 642},
    {"clear-table", "no plane stands out", 0},
    {"dust", "\"outliers\"", 0},
    {"fill", "\"fuse\" it first", 0},
    {"smooth", "point cloud", 0},
    {"orient", "point cloud", 0},
    {"decimate share=10%", "point cloud", 0},
};

START_TEST(each_operation_knows_clouds)
{
    struct scene *in = scene_of(two_balls(true)), *out;
    enum status status = run(in, lines[_i].line, lines[_i].told, &out);
    ck_assert_int_eq(status, lines[_i].left ? STATUS_OK : STATUS_REFUSED);
    if (status == STATUS_OK) {
        ck_assert_uint_eq(mesh_vertices(out->piece[0]->mesh), lines[_i].left);
        ck_assert_uint_eq(mesh_triangles(out->piece[0]->mesh), 0);
        scene_free(out);
    }
    scene_free(in);
}
END_TEST

/* Colours and normals go with the points that stay, normals turn. */
START_TEST(attributes_go_along)
{
    struct mesh *cloud = two_balls(true);
    uint8_t *colour = mesh_attribute_new(cloud, ATTRIBUTE_colour);
    struct point *normal = mesh_attribute_new(cloud, ATTRIBUTE_normal);
    for (size_t v = 0; v < mesh_vertices(cloud); v++) {
        memset(colour + 4 * v, v < 2562 ? 10 : 200, 4);
        normal[v] = vec_point(vec_unit(point_vec(mesh_point(cloud)[v])));
    }
    struct scene *in = scene_of(cloud), *out, *last;
    ck_assert_int_eq(run(in, "drop 40,0,5", "", &out), STATUS_OK);
    ck_assert_int_eq(run(out, "turn axis=z by=90", "", &last), STATUS_OK);
    const struct mesh *left = last->piece[0]->mesh;
    const uint8_t *after = mesh_attribute(left, ATTRIBUTE_colour);
    const struct point *turned = mesh_attribute(left, ATTRIBUTE_normal);
    for (size_t v = 0; v < mesh_vertices(left); v++) {
        struct vec p = vec_unit(point_vec(mesh_point(left)[v]));
        ck_assert_uint_eq(after[4 * v], 10);
        ck_assert_double_lt(vec_length(vec_sub(p, point_vec(turned[v]))), 1e-6);
    }
    scene_free(last);
    scene_free(out);
    scene_free(in);
}
END_TEST

/* --- single bits ----------------------------------------------------------------------------- */

START_TEST(a_bit_of_a_surface_is_dropped)
{
    struct scene *in = scene_of(two_balls(false)), *out;
    ck_assert_int_eq(run(in, "drop 40,0,4.2", "1280 triangles gone, 200.1", &out), STATUS_OK);
    ck_assert_uint_eq(mesh_triangles(out->piece[0]->mesh), 5120);
    ck_assert_uint_eq(mesh_vertices(out->piece[0]->mesh), 2562);
    scene_free(out);
    ck_assert_int_eq(run(in, "drop 0,0,21 others=yes", "1280 triangles gone", &out), STATUS_OK);
    struct scene *none;
    ck_assert_int_eq(run(out, "drop 0,0,21", "\"close\" takes the piece away", &none),
                     STATUS_REFUSED);
    ck_assert_int_eq(run(out, "drop 0,0,21 others=yes", "nothing else", &none), STATUS_OK);
    ck_assert_ptr_eq(none->piece[0]->mesh, out->piece[0]->mesh);
    scene_free(none);
    scene_free(out);
    scene_free(in);
}
END_TEST

/* Of several pieces the one nearest to the point; hidden ones are left alone. */
START_TEST(the_nearest_piece_is_meant)
{
    struct scene *in = scene_of(two_balls(false)), *out, *next;
    struct mesh *far = two_balls(false);
    far->origin[1] = 100;
    ck_assert_int_eq(scene_add(in, piece_new(far, "far"), NULL), STATUS_OK);
    ck_assert_int_eq(run(in, "drop 80,95,0", "that place lies 36.33 mm off it", &out), STATUS_OK);
    ck_assert_uint_eq(mesh_triangles(out->piece[0]->mesh), 6400);
    ck_assert_uint_eq(mesh_triangles(out->piece[1]->mesh), 5120);
    ck_assert_int_eq(run(out, "hide piece=2", "", &next), STATUS_OK);
    scene_free(out);
    ck_assert_int_eq(run(next, "drop 80,95,0", "scan: 1280 triangles gone", &out), STATUS_OK);
    scene_free(next);
    scene_free(out);
    scene_free(in);
}
END_TEST

START_TEST(nothing_to_drop)
{
    struct scene *in = scene_of(mesh_new(0, 0)), *out;
    ck_assert_int_eq(run(in, "drop 1,2,3", "nothing in the piece", &out), STATUS_REFUSED);
    scene_free(in);
}
END_TEST

/* --- figures --------------------------------------------------------------------------------- */

START_TEST(spacing_is_that_of_the_grid)
{
    double spacing;
    struct mesh *patch = shape_patch(50, 100, NULL), *cloud = points_of(mesh_share(patch));
    ck_assert_int_eq(mesh_spacing(cloud, &spacing, NULL), STATUS_OK);
    ck_assert_double_eq_tol(spacing, 0.5, 1e-6);
    ck_assert_int_eq(mesh_spacing(patch, &spacing, NULL), STATUS_OK); /* two in three sides */
    ck_assert_double_eq_tol(spacing, 0.5, 1e-6);
    struct inspection inspection;
    ck_assert_int_eq(inspect(cloud, NULL, &inspection, NULL), STATUS_OK);
    ck_assert_double_eq_tol(inspection.figure[FIGURE_spacing].real, 0.5, 1e-6);
    inspection_release(&inspection);
    mesh_free(cloud);
    mesh_free(patch);
    for (size_t n = 0; n < 2; n++) {
        struct mesh *few = mesh_new(n, 0);
        memset(mesh_point_edit(few), 0, array_bytes(few->point));
        ck_assert_int_eq(mesh_spacing(few, &spacing, NULL), STATUS_OK);
        ck_assert_double_eq(spacing, 0);
        ck_assert_int_eq(inspect(few, NULL, &inspection, NULL), STATUS_OK);
        ck_assert(!inspection.figure[FIGURE_spacing].known);
        inspection_release(&inspection);
        mesh_free(few);
    }
}
END_TEST

static int by_value(const void *x, const void *y)
{
    const double *a = x, *b = y;
    return *a < *b ? -1 : *a > *b;
}

/* Beside qsort, with many equal ones, with few, ascending and descending. */
START_TEST(the_nth_is_that_of_sorting)
{
    enum { MOST = 200 };
    uint64_t state = (uint64_t)_i;
    size_t count = 1 + (size_t)(shape_random(&state) * (MOST - 1));
    double number[MOST], sorted[MOST], scratch[MOST];
    for (size_t i = 0; i < count; i++)
        number[i] = _i % 4 == 0   ? (double)i
                    : _i % 4 == 1 ? -(double)i
                    : _i % 4 == 2 ? floor(5 * shape_random(&state))
                                  : shape_random(&state);
    memcpy(sorted, number, count * sizeof *number);
    qsort(sorted, count, sizeof *sorted, by_value);
    for (size_t n = 0; n < count; n++) {
        memcpy(scratch, number, count * sizeof *number);
        ck_assert_double_eq(nth_smallest(scratch, count, n), sorted[n]);
    }
}
END_TEST

Suite *suite_clouds(void);

Suite *suite_clouds(void)
{
    Suite *suite = suite_create("clouds");
    TCase *tests = tcase_create("clouds");
    tcase_set_timeout(tests, 30);
    tcase_add_loop_test(tests, each_operation_knows_clouds, 0, sizeof lines / sizeof *lines);
    tcase_add_test(tests, attributes_go_along);
    tcase_add_test(tests, a_bit_of_a_surface_is_dropped);
    tcase_add_test(tests, the_nearest_piece_is_meant);
    tcase_add_test(tests, nothing_to_drop);
    tcase_add_test(tests, spacing_is_that_of_the_grid);
    tcase_add_loop_test(tests, the_nth_is_that_of_sorting, 0, 40);
    suite_add_tcase(suite, tests);
    return suite;
}
