/* A session: its history, and the journal that outlives it. */
#include <check.h>
#include <pthread.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <unistd.h>

#include "core/job.h"
#include "scene/journal.h"
#include "scene/session.h"
#include "tests/support/example.h"
#include "tests/support/sessions.h"

/* --- history -------------------------------------------------------------------------------- */

START_TEST(steps_are_undone_and_redone)
{
    struct session *session = sessions_begin();
    size_t present;
    uint64_t digest[4] = {scene_digest(session_scene(session))};
    ck_assert(!session_undo(session));
    ck_assert(!session_redo(session));
    static const char *const lines[] = {"open holed.stl", "open box.stl unit=cm", "hide piece=1"};
    for (int i = 0; i < 3; i++) {
        sessions_do(session, lines[i]);
        digest[i + 1] = scene_digest(session_scene(session));
    }
    ck_assert_uint_eq(session_steps(session, &present), 3);
    ck_assert_str_eq(session_step(session, 1).text, "open box.stl unit=cm");
    ck_assert_str_eq(session_step(session, 2).label, "hide a piece");
    ck_assert_ptr_nonnull(strstr(session_step(session, 1).notes, "200 x 300 x 400 mm"));
    for (int i = 3; i > 0; i--) {
        ck_assert_uint_eq(scene_digest(session_scene(session)), digest[i]);
        ck_assert(session_undo(session));
    }
    ck_assert_uint_eq(session_steps(session, &present), 3);
    ck_assert_uint_eq(present, 0);
    for (int i = 0; i < 3; i++) {
        ck_assert_uint_eq(scene_digest(session_scene(session)), digest[i]);
        ck_assert(session_redo(session));
    }
    ck_assert(!session_redo(session));
    sessions_do(session, "undo");
    sessions_do(session, "close piece=1");
    ck_assert_uint_eq(session_steps(session, &present), 3);
    ck_assert(!session_redo(session));
    session_free(session);
}
END_TEST

START_TEST(a_failed_step_changes_nothing)
{
    struct session *session = sessions_begin();
    struct job job;
    job_init(&job);
    sessions_do(session, "open holed.stl");
    uint64_t before = scene_digest(session_scene(session));
    char *text = sessions_journal(NULL);
    ck_assert_int_eq(session_do(session, "open not-there.stl", &job), STATUS_FILE);
    ck_assert_uint_eq(scene_digest(session_scene(session)), before);
    ck_assert_uint_eq(session_steps(session, NULL), 1);
    char *after = sessions_journal(NULL);
    ck_assert_str_eq(text, after);
    free(text);
    free(after);
    job_release(&job);
    session_free(session);
}
END_TEST

/* Every operation there is: undone it gives back the same bytes, and redone the same again. */
START_TEST(every_operation_is_undone_and_redone)
{
    const struct op *op = op_row((size_t)_i);
    if (!op || !op->changes)
        return;
    struct session *session = NULL;
    struct scene *result;
    char why[EXAMPLE_WHY], *line = NULL;
    /* some want holes, some none, some colours */
    static const char *const first[] = {"open lumpy.stl", "open solid.stl", "open coloured.ply"};
    for (int k = 0; k < 3 && !line; k++) {
        session_free(session);
        session = sessions_begin();
        for (int i = 0; i < 2; i++) /* some need two, one that tells how it lies */
            sessions_do(session, first[k]);
        line = example_run(op, session_scene(session), "box.stl", "out.stl", &result, why);
    }
    uint64_t before = scene_digest(session_scene(session));
    ck_assert_msg(line, "no way to carry out %s was found: %s", op->name, why);
    uint64_t after = scene_digest(result);
    scene_free(result);
    sessions_do(session, line);
    ck_assert_msg(scene_digest(session_scene(session)) == after, "%s: not the same twice", line);
    ck_assert(session_undo(session));
    ck_assert_msg(scene_digest(session_scene(session)) == before, "%s: undo", line);
    ck_assert(session_redo(session));
    ck_assert_msg(scene_digest(session_scene(session)) == after, "%s: redo", line);
    free(line);
    session_free(session);
}
END_TEST

START_TEST(undo_beyond_its_budget_goes_to_the_disk_and_comes_back)
{
    const struct session_options tight = {.spill_folder = sessions_folder, .budget = 100000};
    struct session *session = session_new(&tight, NULL);
    sessions_do(session, "open big.stl");
    sessions_do(session, "open box.stl");
    uint64_t both = scene_digest(session_scene(session));
    const struct mesh *big = session_scene(session)->piece[0]->mesh;
    struct array *point = array_share(big->point), *triangle = array_share(big->triangle);
    ck_assert_uint_gt(array_bytes(point) + array_bytes(triangle), tight.budget);
    ck_assert_uint_eq(session_undo_bytes(session), 0);
    sessions_do(session, "close piece=1");
    ck_assert(atomic_load(&point->spilled));
    ck_assert(atomic_load(&triangle->spilled));
    ck_assert_uint_le(session_undo_bytes(session), tight.budget);
    ck_assert(session_undo(session));
    ck_assert_ptr_eq(session_scene(session)->piece[0]->mesh->point, point);
    ck_assert_uint_eq(scene_digest(session_scene(session)), both);
    array_free(point);
    array_free(triangle);
    session_free(session);
}
END_TEST

START_TEST(within_its_budget_undo_stays_in_memory_and_counts_what_is_shared_once)
{
    const struct session_options wide = {.spill_folder = sessions_folder, .budget = 1 << 30};
    struct session *session = session_new(&wide, NULL);
    sessions_do(session, "open big.stl");
    size_t bytes = mesh_bytes(session_scene(session)->piece[0]->mesh);
    sessions_do(session, "hide piece=1");
    sessions_do(session, "show");
    ck_assert_uint_eq(session_undo_bytes(session), 0);
    sessions_do(session, "close");
    ck_assert_uint_eq(session_undo_bytes(session), bytes);
    session_free(session);
}
END_TEST

START_TEST(a_full_disk_loses_no_undo_step)
{
    const struct session_options nowhere = {.spill_folder = "/proc/nowhere", .budget = 1};
    struct session *session = session_new(&nowhere, NULL);
    struct job job;
    job_init(&job);
    sessions_do(session, "open big.stl");
    uint64_t before = scene_digest(session_scene(session));
    ck_assert_int_eq(session_do(session, "close", &job), STATUS_OK);
    ck_assert_ptr_nonnull(strstr(job.notes, "undo takes more memory than it should"));
    ck_assert(session_undo(session));
    ck_assert_uint_eq(scene_digest(session_scene(session)), before);
    job_release(&job);
    session_free(session);
}
END_TEST

START_TEST(the_choice_of_piece_is_kept_and_is_no_step)
{
    struct session *session = sessions_begin();
    sessions_do(session, "open holed.stl");
    sessions_do(session, "open box.stl");
    ck_assert(!session_select(session, 3));
    ck_assert(session_select(session, 2));
    sessions_do(session, "hide");
    ck_assert(!session_scene(session)->piece[0]->hidden);
    ck_assert(session_scene(session)->piece[1]->hidden);
    ck_assert_str_eq(session_step(session, 2).text, "hide 2");
    ck_assert(session_select(session, 1));
    ck_assert(session_undo(session));
    ck_assert_uint_eq(session_scene(session)->selected, 1);
    ck_assert_uint_eq(session_steps(session, NULL), 3);
    session_free(session);
}
END_TEST

START_TEST(what_is_unsaved_is_known)
{
    struct session *session = sessions_begin();
    ck_assert(!session_unsaved(session));
    sessions_do(session, "open holed.stl");
    ck_assert(!session_unsaved(session));
    sessions_do(session, "hide");
    sessions_do(session, "show");
    ck_assert(!session_unsaved(session)); /* its file still holds it */
    session_free(session);
}
END_TEST

/* Other threads look on while steps are done. */
static atomic_bool looking;
static atomic_int looks;

static void *look_on(void *context)
{
    const struct session *session = context;
    size_t seen = 0;
    while (atomic_load(&looking)) {
        struct scene *scene = session_hold(session);
        for (size_t i = 0; i < scene->count; i++)
            seen += mesh_triangles(scene->piece[i]->mesh);
        size_t steps = session_steps(session, NULL);
        for (size_t i = 0; i < steps; i++)
            seen += strlen(session_step(session, i).text) + strlen(session_step(session, i).notes);
        scene_free(scene);
        atomic_fetch_add(&looks, 1);
    }
    return seen ? context : NULL;
}

START_TEST(others_may_look_on)
{
    struct session *session = sessions_begin();
    sessions_do(session, "open holed.stl");
    pthread_t thread;
    void *seen;
    atomic_store(&looking, true);
    pthread_create(&thread, NULL, look_on, session);
    for (int i = 0; i < 30 || atomic_load(&looks) < 30; i++) {
        sessions_do(session, "hide");
        session_undo(session);
        session_redo(session);
        sessions_do(session, "show");
        session_select(session, (size_t)(i % 2));
    }
    atomic_store(&looking, false);
    pthread_join(thread, &seen);
    ck_assert_ptr_eq(seen, session);
    session_free(session);
}
END_TEST

/* --- the journal ---------------------------------------------------------------------------- */

START_TEST(the_journal_is_a_recipe_after_each_step)
{
    static const char *const lines[] = {
        "open holed.stl",       "open box.stl unit=in", "hide piece=1", "undo", "undo", "redo",
        "save out.stl piece=2", "close piece=1",        "undo",         "hide", "undo", "undo"};
    struct session *session = sessions_begin();
    for (size_t i = 0; i < sizeof lines / sizeof *lines; i++) {
        sessions_do(session, lines[i]);
        if (chdir("/") != 0) /* its paths hold from anywhere */
            abort();
        sessions_expect_recipe(session);
        if (chdir(sessions_folder) != 0)
            abort();
    }
    session_free(session);
}
END_TEST

START_TEST(an_empty_session_leaves_no_file)
{
    struct session *session = sessions_begin();
    session_free(session);
    ck_assert_int_ne(access(sessions_journals, F_OK), 0);
}
END_TEST

START_TEST(finished_and_living_sessions_are_not_offered)
{
    ck_assert_uint_eq(sessions_unfinished(), 0);
    struct session *session = sessions_begin();
    sessions_do(session, "open holed.stl");
    ck_assert_uint_eq(sessions_unfinished(), 0); /* it lives */
    session_free(session);
    ck_assert_uint_eq(sessions_unfinished(), 0);
    session = sessions_begin();
    sessions_do(session, "open holed.stl");
    session_leave(session); /* nothing to save */
    ck_assert_uint_eq(sessions_unfinished(), 0);
}
END_TEST

START_TEST(a_journal_that_cannot_be_written_is_told_and_made_up_for)
{
    struct session *session = sessions_begin();
    struct job job;
    struct rlimit whole, none;
    job_init(&job);
    sessions_do(session, "open box.stl");
    signal(SIGXFSZ, SIG_IGN);
    getrlimit(RLIMIT_FSIZE, &whole);
    none = whole;
    none.rlim_cur = 10;
    setrlimit(RLIMIT_FSIZE, &none);
    ck_assert_int_eq(session_do(session, "hide", &job), STATUS_OK);
    ck_assert_int_eq(session_do(session, "show", &job), STATUS_OK);
    setrlimit(RLIMIT_FSIZE, &whole);
    ck_assert_ptr_nonnull(strstr(job.notes, "the last 1 line would be lost"));
    ck_assert_ptr_nonnull(strstr(job.notes, "the last 2 lines would be lost"));
    ck_assert_int_eq(job.status, STATUS_OK);
    sessions_do(session, "hide");
    sessions_expect_recipe(session);
    job_release(&job);
    session_free(session);
}
END_TEST

static int op_count(void)
{
    int n = 0;
    while (op_row((size_t)n))
        n++;
    return n;
}

Suite *suite_session(void);

Suite *suite_session(void)
{
    Suite *suite = suite_create("session");
    TCase *tests = tcase_create("session");
    tcase_add_checked_fixture(tests, sessions_set_up, sessions_tear_down);
    tcase_set_timeout(tests, 60);
    tcase_add_test(tests, steps_are_undone_and_redone);
    tcase_add_test(tests, a_failed_step_changes_nothing);
    tcase_add_loop_test(tests, every_operation_is_undone_and_redone, 0, op_count());
    tcase_add_test(tests, undo_beyond_its_budget_goes_to_the_disk_and_comes_back);
    tcase_add_test(tests, within_its_budget_undo_stays_in_memory_and_counts_what_is_shared_once);
    tcase_add_test(tests, a_full_disk_loses_no_undo_step);
    tcase_add_test(tests, the_choice_of_piece_is_kept_and_is_no_step);
    tcase_add_test(tests, what_is_unsaved_is_known);
    tcase_add_test(tests, others_may_look_on);
    tcase_add_test(tests, the_journal_is_a_recipe_after_each_step);
    tcase_add_test(tests, an_empty_session_leaves_no_file);
    tcase_add_test(tests, finished_and_living_sessions_are_not_offered);
    tcase_add_test(tests, a_journal_that_cannot_be_written_is_told_and_made_up_for);
    suite_add_tcase(suite, tests);
    return suite;
}
