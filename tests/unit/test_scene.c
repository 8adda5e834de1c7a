#include <check.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "core/job.h"
#include "op/op.h"
#include "tests/support/shapes.h"

static struct scene *scene_of(int count, const char *name)
{
    struct scene *scene = scene_new();
    for (int i = 0; i < count; i++)
        ck_assert_int_eq(scene_add(scene, piece_new(shape_box(1, 2, 3, 1), name), NULL), STATUS_OK);
    return scene;
}

START_TEST(names_are_unique)
{
    struct scene *scene = scene_of(3, "gate");
    ck_assert_str_eq(scene->piece[0]->name, "gate");
    ck_assert_str_eq(scene->piece[1]->name, "gate-2");
    ck_assert_str_eq(scene->piece[2]->name, "gate-3");
    scene_free(scene);
}
END_TEST

START_TEST(the_next_scene_shares_what_did_not_change)
{
    struct scene *scene = scene_of(2, "gate");
    scene->selected = 2;
    struct scene *next = scene_new_like(scene);
    ck_assert_ptr_eq(next->piece[0], scene->piece[0]);
    scene_replace(next, 1, piece_new_like(scene->piece[1], shape_sphere(1, 0)));
    ck_assert_uint_eq(mesh_triangles(scene->piece[1]->mesh), 12);
    ck_assert_uint_eq(mesh_triangles(next->piece[1]->mesh), 20);
    ck_assert_str_eq(next->piece[1]->name, "gate-2");
    scene_free(scene);
    ck_assert_uint_eq(mesh_triangles(next->piece[0]->mesh), 12);
    scene_free(next);
}
END_TEST

START_TEST(removing_a_piece_keeps_the_selection_on_its_piece)
{
    struct scene *scene = scene_of(3, "a");
    scene->selected = 3;
    scene_remove(scene, 0);
    ck_assert_uint_eq(scene->count, 2);
    ck_assert_uint_eq(scene->selected, 2);
    scene_remove(scene, 1);
    ck_assert_uint_eq(scene->selected, 0);
    ck_assert_str_eq(scene->piece[0]->name, "a-2");
    scene_free(scene);
}
END_TEST

START_TEST(originals_are_known_by_any_name_in_every_later_scene)
{
    char path[] = "/tmp/fettle-scene-XXXXXX";
    int fd = mkstemp(path);
    ck_assert_int_ge(fd, 0);
    struct scene *scene = scene_new();
    ck_assert(scene_opened(scene, path));
    struct scene *next = scene_new_like(scene);
    scene_free(scene);
    char other[64];
    snprintf(other, sizeof other, "/tmp/../%s", path + 1);
    ck_assert(scene_is_original(next, path));
    ck_assert(scene_is_original(next, other));
    ck_assert(!scene_is_original(next, "/tmp/fettle-scene-not-there"));
    scene_free(next);
    remove(path);
}
END_TEST

/* op_each on a made-up operation: what matters is only who is worked on. */
static size_t worked;

static enum status make_count(const struct op_call *call, const struct mesh *mesh,
                              struct mesh **out, struct job *job)
{
    (void)call;
    worked++;
    job_note(job, "worked on %zu triangles", mesh_triangles(mesh));
    *out = mesh_new_like(mesh);
    return STATUS_OK;
}

static const struct param piece_only[] = {OP_PIECE, {0}};
static const struct op counting = {.name = "counting", .params = piece_only, .changes = true};

static size_t works_on(struct scene *scene, const struct value *value, struct job *job)
{
    struct scene *out = scene_new_like(scene);
    struct op_call call = {&counting, scene, out, value, job};
    worked = 0;
    ck_assert_int_eq(op_each(&call, make_count), STATUS_OK);
    scene_free(out);
    return worked;
}

START_TEST(pieces_are_chosen_by_name_then_selection_then_sight)
{
    struct job job;
    job_init(&job);
    struct scene *scene = scene_of(3, "a");
    struct value none = {.text = ""}, second = {.given = true, .typed = true, .number = 2};
    struct value all = {.given = true, .typed = true, .number = 0};
    ck_assert_uint_eq(works_on(scene, &none, &job), 3);
    ck_assert_ptr_nonnull(strstr(job.notes, "a-2: worked on 12 triangles\n"));
    scene->piece[0]->hidden = true;
    ck_assert_uint_eq(works_on(scene, &none, &job), 2);
    scene->selected = 1;
    ck_assert_uint_eq(works_on(scene, &none, &job), 1);
    ck_assert_uint_eq(works_on(scene, &second, &job), 1);
    ck_assert_uint_eq(works_on(scene, &all, &job), 2);
    scene_free(scene);
    job_release(&job);
}
END_TEST

START_TEST(nothing_to_work_on_is_refused)
{
    struct job job;
    job_init(&job);
    struct scene *scene = scene_new(), *out = scene_new();
    struct value none = {.text = ""};
    struct op_call call = {&counting, scene, out, &none, &job};
    ck_assert_int_eq(op_each(&call, make_count), STATUS_REFUSED);
    ck_assert_ptr_nonnull(strstr(job.message, "open a file first"));
    scene_free(scene);
    scene_free(out);
    job_release(&job);
}
END_TEST

START_TEST(progress_of_parts_adds_up)
{
    struct job job;
    job_init(&job);
    double last = 0;
    for (size_t i = 0; i < 4; i++) {
        struct job_part outer = job_part(&job, i, 4);
        for (size_t j = 0; j < 2; j++) {
            struct job_part inner = job_part(&job, j, 2);
            job_phase(&job, "half", 500, 10);
            job_step(&job, 5);
            ck_assert_double_eq_tol(job_progress(&job), ((double)i + ((double)j + 0.25) / 2) / 4,
                                    1e-5);
            ck_assert_double_gt(job_progress(&job), last);
            last = job_progress(&job);
            job_part_end(&job, inner);
        }
        job_part_end(&job, outer);
    }
    job_release(&job);
}
END_TEST

Suite *suite_scene(void);

Suite *suite_scene(void)
{
    Suite *suite = suite_create("scene");
    TCase *tests = tcase_create("scene");
    tcase_add_test(tests, names_are_unique);
    tcase_add_test(tests, the_next_scene_shares_what_did_not_change);
    tcase_add_test(tests, removing_a_piece_keeps_the_selection_on_its_piece);
    tcase_add_test(tests, originals_are_known_by_any_name_in_every_later_scene);
    tcase_add_test(tests, pieces_are_chosen_by_name_then_selection_then_sight);
    tcase_add_test(tests, nothing_to_work_on_is_refused);
    tcase_add_test(tests, progress_of_parts_adds_up);
    suite_add_tcase(suite, tests);
    return suite;
}
