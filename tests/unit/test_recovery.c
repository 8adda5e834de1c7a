/* Sessions that ended without saying so are taken up again. */
#include <check.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/wait.h>
#include <unistd.h>

#include "core/job.h"
#include "scene/journal.h"
#include "scene/recovery.h"
#include "scene/session.h"
#include "tests/support/example.h"
#include "tests/support/folder.h"
#include "tests/support/sessions.h"
#include "tests/support/shapes.h"

/* A session in a child that dies without warning in the midst of it. */
static void die_after(const char *const *lines, uint64_t *digest)
{
    int pipe_of[2];
    if (pipe(pipe_of) != 0)
        abort();
    pid_t child = fork();
    if (child == 0) {
        sessions_threads = 1;
        struct session *session = sessions_begin();
        for (; *lines; lines++)
            sessions_do(session, *lines);
        uint64_t mine = scene_digest(session_scene(session));
        if (write(pipe_of[1], &mine, sizeof mine) != sizeof mine)
            abort();
        kill(getpid(), SIGKILL);
    }
    ck_assert_int_eq(read(pipe_of[0], digest, sizeof *digest), sizeof *digest);
    int how;
    waitpid(child, &how, 0);
    ck_assert(WIFSIGNALED(how) && WTERMSIG(how) == SIGKILL);
    close(pipe_of[0]);
    close(pipe_of[1]);
}

START_TEST(a_killed_session_comes_back_whole)
{
    static const char *const lines[] = {"open holed.stl",
                                        "open box.stl",
                                        "hide piece=2",
                                        "undo",
                                        "close piece=1",
                                        "undo",
                                        "hide piece=1",
                                        "show",
                                        "undo",
                                        "save out.stl",
                                        NULL};
    uint64_t digest;
    die_after(lines, &digest);
    struct session *session = sessions_resume(SIZE_MAX, NULL);
    size_t present;
    ck_assert_uint_eq(scene_digest(session_scene(session)), digest);
    ck_assert_uint_eq(session_steps(session, &present), 4);
    ck_assert_uint_eq(present, 3);
    ck_assert_str_eq(session_step(session, 2).text, "hide 1");
    ck_assert_uint_eq(sessions_unfinished(), 0); /* it lives again */
    ck_assert(session_redo(session));
    sessions_expect_recipe(session);
    sessions_do(session, "close piece=2");
    sessions_expect_recipe(session);
    session_free(session);
    ck_assert_uint_eq(sessions_unfinished(), 0);
}
END_TEST

START_TEST(a_session_may_be_taken_up_in_part)
{
    static const char *const lines[] = {"open holed.stl", "open box.stl", "hide piece=2", NULL};
    uint64_t digest;
    die_after(lines, &digest);
    struct session *session = sessions_resume(1, NULL);
    ck_assert_uint_eq(session_scene(session)->count, 1);
    sessions_expect_recipe(session);
    sessions_do(session, "hide");
    sessions_expect_recipe(session);
    session_free(session);
}
END_TEST

START_TEST(a_line_cut_off_in_the_middle_was_not_done)
{
    static const char *const lines[] = {"open holed.stl", "open box.stl", NULL};
    uint64_t digest;
    die_after(lines, &digest);
    char *path, *text = sessions_journal(&path);
    FILE *file = fopen(path, "ab");
    fputs("close piece=1 and much that was never written to its end", file);
    fclose(file);
    struct session *session = sessions_resume(SIZE_MAX, NULL);
    ck_assert_uint_eq(scene_digest(session_scene(session)), digest);
    sessions_do(session, "hide piece=1");
    sessions_expect_recipe(session);
    char *after = sessions_journal(NULL);
    ck_assert_ptr_null(strstr(after, "never written"));
    free(after);
    session_free(session);
    free(path);
    free(text);
}
END_TEST

START_TEST(a_step_that_no_longer_works_is_named)
{
    static const char *const lines[] = {"open holed.stl", "open box.stl", "hide", NULL};
    uint64_t digest;
    die_after(lines, &digest);
    remove("box.stl");
    struct recovery *list;
    struct session *session = NULL;
    size_t count, carried;
    struct job job;
    job_init(&job);
    ck_assert_int_eq(recovery_list(sessions_journals, &list, &count, NULL), STATUS_OK);
    ck_assert_int_eq(recovery_resume(&list[0], SIZE_MAX, NULL, &session, &carried, &job),
                     STATUS_FILE);
    ck_assert_uint_eq(carried, 1);
    ck_assert_ptr_nonnull(strstr(job.message, "line 3: "));
    ck_assert_ptr_nonnull(strstr(job.message, "box.stl"));
    job_forgive(&job);
    ck_assert_int_eq(recovery_resume(&list[0], carried, NULL, &session, &carried, &job), STATUS_OK);
    ck_assert_uint_eq(session_scene(session)->count, 1);
    session_free(session);
    recovery_list_free(list, count);
    job_release(&job);
}
END_TEST

START_TEST(a_file_that_has_changed_is_told)
{
    static const char *const lines[] = {"open box.stl", NULL};
    uint64_t digest;
    die_after(lines, &digest);
    folder_mesh(sessions_folder, "box.stl", shape_box(1, 2, 3, 1));
    struct job job;
    job_init(&job);
    struct session *session = sessions_resume(SIZE_MAX, &job);
    ck_assert_ptr_nonnull(strstr(job.notes, "has changed since"));
    session_free(session);
    job_release(&job);
}
END_TEST

START_TEST(a_file_that_was_saved_over_comes_from_its_original)
{
    static const char *const lines[] = {"open box.stl",          "open holed.stl", "close piece=1",
                                        "save box.stl over=yes", "undo",           NULL};
    uint64_t digest;
    die_after(lines, &digest);
    struct job job;
    job_init(&job);
    struct session *session = sessions_resume(SIZE_MAX, &job);
    const struct scene *scene = session_scene(session);
    ck_assert_uint_eq(scene->count, 2);
    ck_assert_uint_eq(mesh_triangles(scene->piece[0]->mesh), 12 * 16);
    session_free(session);
    job_release(&job);
}
END_TEST

START_TEST(what_is_discarded_is_not_offered_again)
{
    static const char *const lines[] = {"open box.stl", NULL};
    uint64_t digest;
    die_after(lines, &digest);
    struct recovery *list;
    size_t count;
    ck_assert_int_eq(recovery_list(sessions_journals, &list, &count, NULL), STATUS_OK);
    ck_assert_uint_eq(count, 1);
    ck_assert_uint_eq(list[0].present, 1);
    ck_assert_int_eq(recovery_discard(&list[0], NULL), STATUS_OK);
    recovery_list_free(list, count);
    ck_assert_uint_eq(sessions_unfinished(), 0);
    char *text = sessions_journal(NULL);
    ck_assert_ptr_nonnull(strstr(text, "\n" JOURNAL_FINISHED "\n"));
    free(text);
}
END_TEST

START_TEST(a_journal_of_another_version_is_told)
{
    static const char text[] = "# fettle journal\nopen box.stl\nfrobnicate by=3\n";
    if (system("mkdir -p state/fettle") != 0)
        abort();
    folder_write(sessions_journals, "session-1.recipe", text, sizeof text - 1);
    struct recovery *list;
    size_t count;
    ck_assert_int_eq(recovery_list(sessions_journals, &list, &count, NULL), STATUS_OK);
    ck_assert_uint_eq(count, 1);
    ck_assert_ptr_nonnull(strstr(list[0].trouble, "line 3: \"frobnicate\""));
    recovery_list_free(list, count);
}
END_TEST

START_TEST(the_state_folder_is_where_the_standard_says)
{
    setenv("HOME", "/home/somebody", 1);
    setenv("XDG_STATE_HOME", "/var/state", 1);
    char *state = journal_folder();
    ck_assert_str_eq(state, "/var/state/fettle");
    free(state);
    setenv("XDG_STATE_HOME", "relative", 1);
    state = journal_folder();
    ck_assert_str_eq(state, "/home/somebody/.local/state/fettle");
    free(state);
}
END_TEST

Suite *suite_recovery(void);
Suite *suite_recovery(void)
{
    Suite *suite = suite_create("recovery");
    TCase *tests = tcase_create("recovery");
    tcase_add_checked_fixture(tests, sessions_set_up, sessions_tear_down);
    tcase_set_timeout(tests, 60);
    tcase_add_test(tests, a_killed_session_comes_back_whole);
    tcase_add_test(tests, a_session_may_be_taken_up_in_part);
    tcase_add_test(tests, a_line_cut_off_in_the_middle_was_not_done);
    tcase_add_test(tests, a_step_that_no_longer_works_is_named);
    tcase_add_test(tests, a_file_that_has_changed_is_told);
    tcase_add_test(tests, a_file_that_was_saved_over_comes_from_its_original);
    tcase_add_test(tests, what_is_discarded_is_not_offered_again);
    tcase_add_test(tests, a_journal_of_another_version_is_told);
    tcase_add_test(tests, the_state_folder_is_where_the_standard_says);
    suite_add_tcase(suite, tests);
    return suite;
}
