/* Fusing as an operation: its pieces, threads, cancelling. */
#include <check.h>
#include <stdlib.h>
#include <string.h>

#include "core/job.h"
#include "core/topology.h"
#include "op/op.h"
#include "tests/support/cancelling.h"
#include "tests/support/scans.h"
#include "tests/support/shapes.h"
#include "tests/support/steps.h"

static enum status run(const char *line, const struct scene *in, struct scene **out,
                       struct job *job)
{
    struct step step;
    ck_assert_int_eq(step_parse(line, &step, job), STATUS_OK);
    enum status status = step_run(&step, in, out, job);
    step_release(&step);
    return status;
}

/* Shown pieces become a new one and are hidden; a hidden one has no part in it. */
START_TEST(shown_pieces_become_one)
{
    struct scene *scene = scene_new(), *fused = NULL, *none = NULL;
    struct mesh *ball_there = shape_sphere(3, 3), *far_ball = shape_sphere(3, 3);
    struct job job;
    job_init(&job);
    far_ball->origin[1] = 20;
    ck_assert_int_eq(scene_add(scene, piece_new(ball_there, "near"), &job), STATUS_OK);
    ck_assert_int_eq(scene_add(scene, piece_new(shape_box(50, 50, 50, 4), "crate"), &job),
                     STATUS_OK);
    ck_assert_int_eq(scene_add(scene, piece_new(far_ball, "far"), &job), STATUS_OK);
    ck_assert_int_eq(scene_hide(scene, 1, true, &job), STATUS_OK);
    scene->selected = 1;
    ck_assert_int_eq(run("fuse spacing=0.4", scene, &fused, &job), STATUS_OK);
    ck_assert_uint_eq(fused->count, 4);
    ck_assert(fused->piece[0]->hidden && fused->piece[1]->hidden && fused->piece[2]->hidden);
    ck_assert(!fused->piece[3]->hidden && fused->selected == 0);
    scans_check_solid(fused->piece[3]->mesh);
    ck_assert_double_eq_tol(shape_count(fused->piece[3]->mesh).volume, 2 * 113.097, 2.5);
    ck_assert_ptr_nonnull(strstr(job.notes, "2 pieces fused"));
    ck_assert_ptr_nonnull(strstr(job.notes, "100 % of the area measured, 0 % invented"));
    ck_assert_int_eq(scene_hide(fused, 3, true, &job), STATUS_OK);
    ck_assert_int_eq(run("fuse", fused, &none, &job), STATUS_REFUSED);
    ck_assert_ptr_nonnull(strstr(job.message, "hidden"));
    job_release(&job);
    scene_free(fused);
    scene_free(scene);
}
END_TEST

/* Finer than the scans: said, where it was asked for. */
START_TEST(a_finer_spacing_invents)
{
    struct scene *scene = steps_told(steps_scene(shape_sphere(3, 3)), "fuse spacing=0.15",
                                     "what is between them at a finer spacing is invented");
    scene_free(scene);
}
END_TEST

static bool is_cap(const struct mesh *mesh, size_t t)
{
    return mesh_point(mesh)[mesh_triangle(mesh)[t].v[0]].z > 6;
}

static double invented_share(const struct mesh *mesh)
{
    const uint8_t *origin = mesh_attribute(mesh, ATTRIBUTE_origin);
    size_t invented = 0;
    for (size_t t = 0; t < mesh_triangles(mesh); t++)
        invented += origin[t] == ORIGIN_INVENTED;
    return (double)invented / (double)mesh_triangles(mesh);
}

/* A second time it is no more measured than the first: a ball without its cap, a fifth of it. */
START_TEST(what_was_invented_stays_so)
{
    struct mesh *ball = shape_sphere(10, 5);
    struct scene *scene = steps_scene(shape_without(ball, is_cap));
    scene = steps_told(scene, "fuse spacing=0.4", "it is one surface, so nothing was averaged");
    double first = invented_share(scene->piece[1]->mesh);
    ck_assert_double_gt(first, 0.1);
    scene = steps_told(scene, "fuse spacing=0.4", "that were invented before were left out");
    ck_assert_double_ge(invented_share(scene->piece[2]->mesh), 0.9 * first);
    scans_check_solid(scene->piece[2]->mesh);
    scene_free(scene);
    uint8_t *origin = mesh_attribute_new(ball, ATTRIBUTE_origin);
    memset(origin, ORIGIN_INVENTED, mesh_triangles(ball));
    scene = steps_scene(ball);
    steps_refused(scene, "fuse", "all was invented before");
    scene_free(scene);
}
END_TEST

/* Positions are beside the origin that files have there, so that what crosses nowhere still crosses
 * nowhere when it was saved in single precision. */
START_TEST(saving_would_round_nothing)
{
    static const double at[][3] = {{0.123, -7.7, 2.01}, {333.3, 20000.7, -5}};
    static const double origin[][3] = {{0, 0, 0}, {0, 20480, 0}};
    for (int i = 0; i < 2; i++) {
        struct scans scans = {{shape_sphere(3, 3)}, 1};
        const struct fuse_options options = {.closed = true};
        struct fuse_report report;
        for (int k = 0; k < 3; k++)
            scans.mesh[0]->origin[k] = at[i][k];
        struct mesh *mesh = scans_fused(&scans, &options, &report);
        for (int k = 0; k < 3; k++)
            ck_assert_double_eq(mesh->origin[k], origin[i][k]);
        const struct bounds *bounds = mesh_bounds(mesh, NULL);
        ck_assert_double_eq_tol(bounds->min.y, at[i][1] - 3, 0.1);
        mesh_free(mesh);
        scans_free(&scans);
    }
}
END_TEST

/* --- threads, cancel -------------------------------------------------------------------------- */

static void check_same(const struct mesh *a, const struct mesh *b)
{
    const struct array *array[2][4] = {
        {a->point, a->triangle, a->attribute[ATTRIBUTE_origin], a->attribute[ATTRIBUTE_colour]},
        {b->point, b->triangle, b->attribute[ATTRIBUTE_origin], b->attribute[ATTRIBUTE_colour]}};
    for (int i = 0; i < 4; i++) {
        ck_assert_uint_eq(array_bytes(array[0][i]), array_bytes(array[1][i]));
        ck_assert_int_eq(memcmp(array[0][i]->data, array[1][i]->data, array_bytes(array[0][i])), 0);
    }
}

/* Three of six views of a box with a hole of sorts: all that fusing does happens. */
START_TEST(same_bytes_whatever_the_threads)
{
    struct scans scans = scans_of(small_box, scans_spacing, scans_noise, 3);
    const struct fuse_options options = {.closed = _i};
    struct mesh *mesh[3];
    struct fuse_report report;
    for (size_t i = 0; i < scans.count; i++)
        scans_paint(scans.mesh[i], scans_from[i], true);
    for (int i = 0; i < 3; i++) {
        struct job job;
        job_init(&job);
        job.threads = i + 1;
        struct mesh *fresh[3];
        for (int k = 0; k < 3; k++)
            fresh[k] = mesh_new_like(scans.mesh[k]);
        ck_assert_int_eq(
            fuse((const struct mesh *const *)fresh, 3, &options, &mesh[i], &report, NULL, &job),
            STATUS_OK);
        for (int k = 0; k < 3; k++)
            mesh_free(fresh[k]);
        job_release(&job);
    }
    check_same(mesh[0], mesh[1]);
    check_same(mesh[0], mesh[2]);
    for (int i = 0; i < 3; i++)
        mesh_free(mesh[i]);
    scans_free(&scans);
}
END_TEST

START_TEST(cancel_is_answered_soon)
{
    struct mesh *sphere = shape_sphere(10, 6), *out = NULL; /* 82 000 triangles */
    const struct fuse_options options = {.closed = true};
    struct fuse_report report;
    struct job job;
    struct cancelling c = {.job = &job, .from = 0.02 + 0.11 * _i};
    while (cancelling_again(&c))
        ck_assert_int_eq(
            fuse((const struct mesh *const *)&sphere, 1, &options, &out, &report, NULL, &job),
            STATUS_CANCELLED);
    ck_assert_ptr_null(out);
    mesh_free(sphere);
}
END_TEST

Suite *suite_fuse_op(void);
Suite *suite_fuse_op(void)
{
    Suite *suite = suite_create("fuse_op");
    TCase *all = tcase_create("all");
    tcase_set_timeout(all, 60);
    tcase_add_test(all, shown_pieces_become_one);
    tcase_add_test(all, a_finer_spacing_invents);
    tcase_add_test(all, what_was_invented_stays_so);
    tcase_add_test(all, saving_would_round_nothing);
    tcase_add_loop_test(all, same_bytes_whatever_the_threads, 0, 2);
    tcase_add_loop_test(all, cancel_is_answered_soon, 0, 8);
    suite_add_tcase(suite, all);
    return suite;
}
