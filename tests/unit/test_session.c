#include <check.h>
#include <pthread.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>

#include "core/job.h"
#include "scene/journal.h"
#include "scene/recovery.h"
#include "scene/session.h"
#include "tests/support/example.h"
#include "tests/support/folder.h"
#include "tests/support/shapes.h"

static char *folder, *journals;

static bool top_left(const struct mesh *mesh, size_t t)
{
    (void)mesh;
    return t == 5 || t == 200;
}

/* With lumps of its own everywhere, so that it can be told how it lies. */
static struct mesh *lumpy(void)
{
    struct mesh *mesh = shape_sphere(30, 4);
    struct point *p = mesh_point_edit(mesh);
    for (size_t i = 0; i < mesh_vertices(mesh); i++) {
        struct vec v = point_vec(p[i]);
        double lump = sin(0.11 * v.x + 0.5) * cos(0.17 * v.y) + 0.7 * sin(0.13 * v.z + 0.06 * v.x);
        p[i] = vec_point(vec_scale(v, 1 + 0.2 * lump));
    }
    return mesh;
}

static void set_up(void)
{
    folder = folder_new();
    journals = folder_path(folder, "state/fettle");
    struct mesh *whole = shape_sphere(30, 3);
    folder_mesh(folder, "holed.stl", shape_without(whole, top_left));
    mesh_free(whole);
    whole = lumpy();
    folder_mesh(folder, "lumpy.stl", shape_without(whole, top_left));
    mesh_free(whole);
    folder_mesh(folder, "box.stl", shape_box(20, 30, 40, 4));
    folder_mesh(folder, "big.stl", shape_sphere(50, 6));
    folder_mesh(folder, "solid.stl", shape_sphere(30, 3));
    if (chdir(folder) != 0)
        abort();
}

static void tear_down(void)
{
    if (chdir("/") != 0)
        abort();
    free(journals);
    folder_remove(folder);
}

static struct session *begin(void)
{
    const struct session_options options = {.journal_folder = journals, .spill_folder = folder};
    struct session *session = session_new(&options, NULL);
    ck_assert_ptr_nonnull(session);
    return session;
}

static int threads; /* of the jobs; a forked child must not use more than one (OpenMP's pool) */

static void do_line(struct session *session, const char *line)
{
    struct job job;
    job_init(&job);
    job.threads = threads;
    enum status status = session_do(session, line, &job);
    ck_assert_msg(status == STATUS_OK, "%s: %s", line, job.message);
    job_release(&job);
}

static size_t unfinished(void)
{
    struct recovery *list;
    size_t count;
    ck_assert_int_eq(recovery_list(journals, &list, &count, NULL), STATUS_OK);
    recovery_list_free(list, count);
    return count;
}

/* Takes up the only unfinished journal. */
static struct session *resume(size_t most, struct job *job)
{
    const struct session_options options = {.journal_folder = journals, .spill_folder = folder};
    struct recovery *list;
    struct session *session = NULL;
    size_t count, carried;
    ck_assert_int_eq(recovery_list(journals, &list, &count, NULL), STATUS_OK);
    ck_assert_uint_eq(count, 1);
    enum status status = recovery_resume(&list[0], most, &options, &session, &carried, job);
    ck_assert_msg(status == STATUS_OK, "%s", job ? job->message : "");
    ck_assert_uint_eq(session_steps(session, NULL), carried);
    recovery_list_free(list, count);
    return session;
}

/* The one journal in the folder. */
static char *journal_text(char **path)
{
    char *found = NULL, pattern[512];
    snprintf(pattern, sizeof pattern, "ls %s/*.recipe", journals);
    FILE *list = popen(pattern, "r");
    char line[512] = "";
    ck_assert_ptr_nonnull(fgets(line, sizeof line, list));
    pclose(list);
    line[strcspn(line, "\n")] = '\0';
    found = folder_read(line, NULL);
    if (path)
        *path = strdup(line);
    return found;
}

/* --- history -------------------------------------------------------------------------------- */

START_TEST(steps_are_undone_and_redone)
{
    struct session *session = begin();
    size_t present;
    uint64_t digest[4] = {scene_digest(session_scene(session))};
    ck_assert(!session_undo(session));
    ck_assert(!session_redo(session));
    static const char *const lines[] = {"open holed.stl", "open box.stl unit=cm", "hide piece=1"};
    for (int i = 0; i < 3; i++) {
        do_line(session, lines[i]);
        digest[i + 1] = scene_digest(session_scene(session));
    }
    ck_assert_uint_eq(session_steps(session, &present), 3);
    ck_assert_str_eq(session_step_text(session, 1), "open box.stl unit=cm");
    ck_assert_str_eq(session_step_label(session, 2), "hide a piece");
    ck_assert_ptr_nonnull(strstr(session_step_notes(session, 1), "200 x 300 x 400 mm"));
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
    do_line(session, "undo");
    do_line(session, "close piece=1");
    ck_assert_uint_eq(session_steps(session, &present), 3);
    ck_assert(!session_redo(session));
    session_free(session);
}
END_TEST

START_TEST(a_failed_step_changes_nothing)
{
    struct session *session = begin();
    struct job job;
    job_init(&job);
    do_line(session, "open holed.stl");
    uint64_t before = scene_digest(session_scene(session));
    char *text = journal_text(NULL);
    ck_assert_int_eq(session_do(session, "open not-there.stl", &job), STATUS_FILE);
    ck_assert_uint_eq(scene_digest(session_scene(session)), before);
    ck_assert_uint_eq(session_steps(session, NULL), 1);
    char *after = journal_text(NULL);
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
    for (int solid = 0; solid < 2 && !line; solid++) { /* some want holes, some none */
        session_free(session);
        session = begin();
        for (int i = 0; i < 2; i++) /* some need two, one that tells how it lies */
            do_line(session, solid ? "open solid.stl" : "open lumpy.stl");
        line = example_run(op, session_scene(session), "box.stl", "out.stl", &result, why);
    }
    uint64_t before = scene_digest(session_scene(session));
    ck_assert_msg(line, "no way to carry out %s was found: %s", op->name, why);
    uint64_t after = scene_digest(result);
    scene_free(result);
    do_line(session, line);
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
    const struct session_options tight = {.spill_folder = folder, .budget = 100000};
    struct session *session = session_new(&tight, NULL);
    do_line(session, "open big.stl");
    do_line(session, "open box.stl");
    uint64_t both = scene_digest(session_scene(session));
    const struct mesh *big = session_scene(session)->piece[0]->mesh;
    struct array *point = array_share(big->point), *triangle = array_share(big->triangle);
    ck_assert_uint_gt(array_bytes(point) + array_bytes(triangle), tight.budget);
    ck_assert_uint_eq(session_undo_bytes(session), 0);
    do_line(session, "close piece=1");
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
    const struct session_options wide = {.spill_folder = folder, .budget = 1 << 30};
    struct session *session = session_new(&wide, NULL);
    do_line(session, "open big.stl");
    size_t bytes = mesh_bytes(session_scene(session)->piece[0]->mesh);
    do_line(session, "hide piece=1");
    do_line(session, "show");
    ck_assert_uint_eq(session_undo_bytes(session), 0);
    do_line(session, "close");
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
    do_line(session, "open big.stl");
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
    struct session *session = begin();
    do_line(session, "open holed.stl");
    do_line(session, "open box.stl");
    ck_assert(!session_select(session, 3));
    ck_assert(session_select(session, 2));
    do_line(session, "hide");
    ck_assert(!session_scene(session)->piece[0]->hidden);
    ck_assert(session_scene(session)->piece[1]->hidden);
    ck_assert_str_eq(session_step_text(session, 2), "hide 2");
    ck_assert(session_select(session, 1));
    ck_assert(session_undo(session));
    ck_assert_uint_eq(session_scene(session)->selected, 1);
    ck_assert_uint_eq(session_steps(session, NULL), 3);
    session_free(session);
}
END_TEST

START_TEST(what_is_unsaved_is_known)
{
    struct session *session = begin();
    ck_assert(!session_unsaved(session));
    do_line(session, "open holed.stl");
    ck_assert(!session_unsaved(session));
    do_line(session, "hide");
    do_line(session, "show");
    ck_assert(!session_unsaved(session)); /* its file still holds it */
    session_free(session);
}
END_TEST

/* Other threads look on while steps are done. */
static atomic_bool looking;

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
            seen += strlen(session_step_text(session, i)) + strlen(session_step_notes(session, i));
        scene_free(scene);
    }
    return seen ? context : NULL;
}

START_TEST(others_may_look_on)
{
    struct session *session = begin();
    do_line(session, "open holed.stl");
    pthread_t thread;
    void *seen;
    atomic_store(&looking, true);
    pthread_create(&thread, NULL, look_on, session);
    for (int i = 0; i < 30; i++) {
        do_line(session, "hide");
        session_undo(session);
        session_redo(session);
        do_line(session, "show");
        session_select(session, (size_t)(i % 2));
    }
    atomic_store(&looking, false);
    pthread_join(thread, &seen);
    ck_assert_ptr_eq(seen, session);
    session_free(session);
}
END_TEST

/* --- the journal ---------------------------------------------------------------------------- */

/* After each step the journal is a recipe that makes the same bytes. */
static void journal_makes(const struct session *session)
{
    struct job job;
    job_init(&job);
    char *path, *text = journal_text(&path);
    struct recipe recipe;
    struct scene *made;
    enum status status = recipe_read(path, &recipe, &job);
    ck_assert_msg(status == STATUS_OK, "%s", job.message);
    status = recipe_run(&recipe, scene_new(), &made, NULL, NULL, &job);
    ck_assert_msg(status == STATUS_OK, "%s\n%s", job.message, text);
    ck_assert_uint_eq(scene_digest(made), scene_digest(session_scene(session)));
    scene_free(made);
    recipe_release(&recipe);
    free(path);
    free(text);
    job_release(&job);
}

START_TEST(the_journal_is_a_recipe_after_each_step)
{
    static const char *const lines[] = {
        "open holed.stl",       "open box.stl unit=in", "hide piece=1", "undo", "undo", "redo",
        "save out.stl piece=2", "close piece=1",        "undo",         "hide", "undo", "undo"};
    struct session *session = begin();
    for (size_t i = 0; i < sizeof lines / sizeof *lines; i++) {
        do_line(session, lines[i]);
        if (chdir("/") != 0) /* its paths hold from anywhere */
            abort();
        journal_makes(session);
        if (chdir(folder) != 0)
            abort();
    }
    session_free(session);
}
END_TEST

START_TEST(an_empty_session_leaves_no_file)
{
    struct session *session = begin();
    session_free(session);
    ck_assert_int_ne(access(journals, F_OK), 0);
}
END_TEST

START_TEST(finished_and_living_sessions_are_not_offered)
{
    ck_assert_uint_eq(unfinished(), 0);
    struct session *session = begin();
    do_line(session, "open holed.stl");
    ck_assert_uint_eq(unfinished(), 0); /* it lives */
    session_free(session);
    ck_assert_uint_eq(unfinished(), 0);
    session = begin();
    do_line(session, "open holed.stl");
    session_leave(session); /* nothing to save */
    ck_assert_uint_eq(unfinished(), 0);
}
END_TEST

START_TEST(a_journal_that_cannot_be_written_is_told_and_made_up_for)
{
    struct session *session = begin();
    struct job job;
    struct rlimit whole, none;
    job_init(&job);
    do_line(session, "open box.stl");
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
    do_line(session, "hide");
    journal_makes(session);
    job_release(&job);
    session_free(session);
}
END_TEST

/* --- recovery ------------------------------------------------------------------------------- */

/* A session in a child that dies without warning in the midst of it. */
static void die_after(const char *const *lines, uint64_t *digest)
{
    int pipe_of[2];
    if (pipe(pipe_of) != 0)
        abort();
    pid_t child = fork();
    if (child == 0) {
        threads = 1;
        struct session *session = begin();
        for (; *lines; lines++)
            do_line(session, *lines);
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
    struct session *session = resume(SIZE_MAX, NULL);
    size_t present;
    ck_assert_uint_eq(scene_digest(session_scene(session)), digest);
    ck_assert_uint_eq(session_steps(session, &present), 4);
    ck_assert_uint_eq(present, 3);
    ck_assert_str_eq(session_step_text(session, 2), "hide 1");
    ck_assert_uint_eq(unfinished(), 0); /* it lives again */
    ck_assert(session_redo(session));
    journal_makes(session);
    do_line(session, "close piece=2");
    journal_makes(session);
    session_free(session);
    ck_assert_uint_eq(unfinished(), 0);
}
END_TEST

START_TEST(a_session_may_be_taken_up_in_part)
{
    static const char *const lines[] = {"open holed.stl", "open box.stl", "hide piece=2", NULL};
    uint64_t digest;
    die_after(lines, &digest);
    struct session *session = resume(1, NULL);
    ck_assert_uint_eq(session_scene(session)->count, 1);
    journal_makes(session);
    do_line(session, "hide");
    journal_makes(session);
    session_free(session);
}
END_TEST

START_TEST(a_line_cut_off_in_the_middle_was_not_done)
{
    static const char *const lines[] = {"open holed.stl", "open box.stl", NULL};
    uint64_t digest;
    die_after(lines, &digest);
    char *path, *text = journal_text(&path);
    FILE *file = fopen(path, "ab");
    fputs("close piece=1 and much that was never written to its end", file);
    fclose(file);
    struct session *session = resume(SIZE_MAX, NULL);
    ck_assert_uint_eq(scene_digest(session_scene(session)), digest);
    do_line(session, "hide piece=1");
    journal_makes(session);
    char *after = journal_text(NULL);
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
    ck_assert_int_eq(recovery_list(journals, &list, &count, NULL), STATUS_OK);
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
    folder_mesh(folder, "box.stl", shape_box(1, 2, 3, 1));
    struct job job;
    job_init(&job);
    struct session *session = resume(SIZE_MAX, &job);
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
    struct session *session = resume(SIZE_MAX, &job);
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
    ck_assert_int_eq(recovery_list(journals, &list, &count, NULL), STATUS_OK);
    ck_assert_uint_eq(count, 1);
    ck_assert_uint_eq(list[0].present, 1);
    ck_assert_int_eq(recovery_discard(&list[0], NULL), STATUS_OK);
    recovery_list_free(list, count);
    ck_assert_uint_eq(unfinished(), 0);
    char *text = journal_text(NULL);
    ck_assert_ptr_nonnull(strstr(text, "\n" JOURNAL_FINISHED "\n"));
    free(text);
}
END_TEST

START_TEST(a_journal_of_another_version_is_told)
{
    static const char text[] = "# fettle journal\nopen box.stl\nfrobnicate by=3\n";
    if (system("mkdir -p state/fettle") != 0)
        abort();
    folder_write(journals, "session-1.recipe", text, sizeof text - 1);
    struct recovery *list;
    size_t count;
    ck_assert_int_eq(recovery_list(journals, &list, &count, NULL), STATUS_OK);
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
    tcase_add_checked_fixture(tests, set_up, tear_down);
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
