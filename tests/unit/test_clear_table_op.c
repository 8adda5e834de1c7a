/* The operation clear-table: on several pieces, and what it draws before. */
#include <check.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "core/job.h"
#include "op/op.h"
#include "op/sketch.h"
#include "tests/support/shapes.h"
#include "tests/support/steps.h"
#include "tests/support/table_scan.h"

static struct table_scan with_a_box(void)
{
    return table_with(table_sheet(120, 0.8, table_flat, NULL), shape_box(40, 30, 25, 40), 40, 45, 0,
                      table_noise);
}

/* On a table that lies otherwise, elsewhere. */
static struct table_scan with_a_ball(void)
{
    struct table_scan scan = table_with(table_sheet(120, 0.8, table_flat, NULL),
                                        shape_sphere(20, 5), 60, 60, 20, table_noise);
    return table_turned(scan, vec(0, 1, 0), 2, vec(500, 0, 0));
}

static char *run(const char *line, const struct scene *in, struct scene **out, enum status status)
{
    struct job job;
    struct step step;
    job_init(&job);
    ck_assert_int_eq(step_parse(line, &step, &job), STATUS_OK);
    ck_assert_msg(step_run(&step, in, out, &job) == status, "%s: %s", line, job.message);
    char *told = strdup(status == STATUS_OK ? job.notes : job.message);
    step_release(&step);
    job_release(&job);
    return told;
}

START_TEST(each_piece_has_its_own_table)
{
    struct scene *in = scene_new(), *out;
    struct table_scan one = with_a_box(), other = with_a_ball();
    size_t ball = mesh_triangles(other.mesh) - other.table;
    for (size_t v = 0; v < 4 * mesh_vertices(one.mesh); v++) {
        if (v == 0)
            mesh_attribute_new(one.mesh, ATTRIBUTE_colour);
        ((uint8_t *)one.mesh->attribute[ATTRIBUTE_colour]->data)[v] = (uint8_t)(v % 251);
    }
    scene_add(in, piece_new(one.mesh, "one"), NULL);
    scene_add(in, piece_new(other.mesh, "other"), NULL);
    char *told = run("clear-table keep=table", in, &out, STATUS_OK);
    ck_assert_msg(strstr(told, "one: the table lies through") &&
                      strstr(told, "other: the table lies through"),
                  "%s", told);
    ck_assert_uint_eq(out->count, 4);
    ck_assert_ptr_nonnull(out->piece[0]->mesh->attribute[ATTRIBUTE_colour]);
    ck_assert_uint_eq(mesh_triangles(out->piece[1]->mesh), ball);
    ck_assert_uint_eq(mesh_triangles(out->piece[3]->mesh), other.table);
    ck_assert_str_eq(out->piece[2]->name, "table");
    ck_assert(out->piece[2]->hidden && out->piece[3]->hidden);
    ck_assert_int_eq(out->piece[2]->colour, COLOUR_VERTEX);
    free(told);
    scene_free(out);
    free(run("clear-table normal=z", in, &out, STATUS_USAGE));
    scene_free(in);
}
END_TEST

static double stump(double x, double y)
{
    return 25 * exp(-pow(hypot(x - 60, y - 60) / 20, 8));
}

static bool is_face(const struct mesh *mesh, size_t t)
{
    bool in = true;
    for (int k = 0; k < 3; k++)
        in = in && mesh_point(mesh)[mesh_triangle(mesh)[t].v[k]].z == 0;
    return in;
}

/* What closes the table's edge says so; what leaves it, and what closes a pot, does not. */
START_TEST(a_table_that_was_closed_is_told)
{
    const char *hint = "if that is the table, undo, and \"clear-table\" first";
    struct mesh *box = shape_box(40, 30, 25, 40);
    struct scene *table =
                     steps_scene(shape_rough(shape_patch(120, 100, stump), (float)table_noise)),
                 *out;
    struct scene *pot = steps_scene(shape_without(box, is_face));
    scene_free(steps_told(scene_share(table), "mend", hint));
    scene_free(steps_told(scene_share(table), "fill", hint));
    struct {
        const struct scene *scene;
        const char *line;
    } quiet[] = {
        {table, "fill longest=60"}, {table, "mend open=yes"}, {pot, "mend"}, {pot, "fill"}};
    for (int i = 0; i < 4; i++) {
        char *told = run(quiet[i].line, quiet[i].scene, &out, STATUS_OK);
        ck_assert_msg(!strstr(told, "table"), "%s: %s", quiet[i].line, told);
        free(told);
        scene_free(out);
    }
    mesh_free(box);
    scene_free(table);
    scene_free(pot);
}
END_TEST

/* Before it is cleared it is drawn where it was found: a net as large as the table. */
START_TEST(the_table_is_drawn)
{
    struct scene *in = scene_new();
    struct sketch sketch;
    struct step step;
    struct job job;
    scene_add(in, piece_new(with_a_box().mesh, "one"), NULL);
    job_init(&job);
    ck_assert_int_eq(step_parse("clear-table", &step, &job), STATUS_OK);
    ck_assert_int_eq(step_sketch(&step, in, &sketch, &job), STATUS_OK);
    ck_assert_uint_gt(sketch.lines, 10);
    double least = INFINITY, most = -INFINITY;
    for (size_t i = 0; i < sketch.lines; i++) {
        ck_assert_double_le(fabs(sketch.line[i].from.z), 0.05);
        ck_assert_double_le(fabs(sketch.line[i].to.z), 0.05);
        least = fmin(least, fmin(sketch.line[i].from.x, sketch.line[i].to.x));
        most = fmax(most, fmax(sketch.line[i].from.x, sketch.line[i].to.x));
    }
    ck_assert_double_ge(most - least, 110); /* of 120; the net may be turned in its plane */
    ck_assert_double_le(most - least, 175);
    ck_assert_ptr_nonnull(strstr(job.notes, "the net is its table"));
    sketch_release(&sketch);
    step_release(&step);
    job_release(&job);
    scene_free(in);
}
END_TEST

Suite *suite_clear_table_op(void);

Suite *suite_clear_table_op(void)
{
    Suite *suite = suite_create("clear_table_op");
    TCase *tests = tcase_create("clear_table_op");
    tcase_set_timeout(tests, 60);
    tcase_add_test(tests, each_piece_has_its_own_table);
    tcase_add_test(tests, a_table_that_was_closed_is_told);
    tcase_add_test(tests, the_table_is_drawn);
    suite_add_tcase(suite, tests);
    return suite;
}
