#include <check.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "core/job.h"
#include "scene/recipe.h"
#include "tests/support/example.h"
#include "tests/support/folder.h"
#include "tests/support/shapes.h"

static char *folder;
static struct job job;

static void set_up(void)
{
    folder = folder_new();
    folder_mesh(folder, "box.stl", shape_box(20, 30, 40, 4));
    folder_mesh(folder, "ball.stl", shape_sphere(30, 2));
    if (chdir(folder) != 0)
        abort();
    job_init(&job);
}

static void tear_down(void)
{
    job_release(&job);
    if (chdir("/") != 0)
        abort();
    folder_remove(folder);
}

/* What was carried out, as "3 5 6 ". */
static char reported[256], said[4096];

static void report(const struct recipe_line *line, const char *notes, void *context)
{
    char number[24];
    ck_assert_ptr_eq(context, said);
    snprintf(number, sizeof number, "%zu ", line->number);
    strcat(reported, number);
    strcat(said, notes);
}

static enum status run(const char *text, struct scene **out)
{
    struct recipe recipe;
    reported[0] = said[0] = '\0';
    *out = NULL;
    enum status status = recipe_parse(text, strlen(text), "clean.recipe", &recipe, &job);
    if (status != STATUS_OK)
        return status;
    status = recipe_run(&recipe, scene_new(), out, report, said, &job);
    recipe_release(&recipe);
    return status;
}

START_TEST(lines_are_carried_out_in_order)
{
    struct scene *scene;
    ck_assert_int_eq(run("# two pieces\n\nopen box.stl # the box\r\n\topen ball.stl unit=cm\n"
                         "hide piece=1",
                         &scene),
                     STATUS_OK);
    ck_assert_str_eq(reported, "3 4 5 ");
    ck_assert_uint_eq(scene->count, 2);
    ck_assert(scene->piece[0]->hidden);
    ck_assert_ptr_nonnull(strstr(said, "box: stl, 192 triangles, 20 x 30 x 40 mm"));
    ck_assert_ptr_nonnull(strstr(said, "unit cm (as given)"));
    ck_assert_ptr_null(job.notes);
    scene_free(scene);
}
END_TEST

static const struct {
    const char *text, *message;
} wrongs[] = {
    {"open box.stl\n\nopne ball.stl\nhide",
     "\"clean.recipe\": line 3: \"opne\": no such operation; "
     "did you mean open?"},
    {"undo", "\"clean.recipe\": line 1: there is no step to undo"},
    {"open box.stl\nundo\nundo", "\"clean.recipe\": line 3: there is no step to undo"},
    {"open box.stl\nredo", "\"clean.recipe\": line 2: there is no step to redo"},
    {"open box.stl\nundo\nopen ball.stl\nredo",
     "\"clean.recipe\": line 4: there is no step to redo"},
    {"undo it", "\"clean.recipe\": line 1: \"undo\": no such operation; `help` lists them"},
};

START_TEST(what_is_wrong_is_told_before_anything_is_done)
{
    struct scene *scene;
    ck_assert_int_eq(run(wrongs[_i].text, &scene), STATUS_USAGE);
    ck_assert_str_eq(job.message, wrongs[_i].message);
    ck_assert_str_eq(reported, "");
}
END_TEST

START_TEST(the_first_failure_ends_it)
{
    struct scene *scene;
    ck_assert_int_eq(run("open box.stl\nsave a.stl\nopen lost.stl\nsave b.stl", &scene),
                     STATUS_FILE);
    ck_assert_str_eq(reported, "1 2 ");
    ck_assert_ptr_eq(strstr(job.message, "\"clean.recipe\": line 3: \"lost.stl\""), job.message);
    ck_assert_int_eq(access("a.stl", F_OK), 0);
    ck_assert_int_ne(access("b.stl", F_OK), 0);
    ck_assert_ptr_null(scene);
}
END_TEST

START_TEST(what_is_undone_is_not_done_at_all)
{
    struct scene *scene;
    ck_assert_int_eq(run("open box.stl\nopen lost.stl\nundo\nopen ball.stl\n", &scene), STATUS_OK);
    ck_assert_str_eq(reported, "1 4 ");
    ck_assert_uint_eq(scene->count, 2);
    scene_free(scene);
}
END_TEST

START_TEST(what_was_saved_before_it_was_undone_is_done)
{
    struct scene *scene;
    ck_assert_int_eq(run("open box.stl\nopen ball.stl\nsave both.stl\nundo\nsave one.stl\nredo\n"
                         "undo\nundo\nredo\n",
                         &scene),
                     STATUS_OK);
    ck_assert_str_eq(reported, "1 2 3 5 ");
    ck_assert_uint_eq(scene->count, 1);
    scene_free(scene);
    size_t both, one, box;
    free(folder_read("both.stl", &both));
    free(folder_read("one.stl", &one));
    free(folder_read("box.stl", &box));
    ck_assert_uint_eq(one, box);
    ck_assert_uint_eq(both, 84 + 50 * (192 + 320));
}
END_TEST

START_TEST(redo_leads_along_the_last_way)
{
    struct scene *scene;
    ck_assert_int_eq(run("open box.stl\nopen ball.stl\nundo\nundo\nredo\nredo\nhide piece=2\nundo\n"
                         "close piece=1\nundo\nredo\n",
                         &scene),
                     STATUS_OK);
    ck_assert_str_eq(reported, "1 2 9 ");
    ck_assert_uint_eq(scene->count, 1);
    ck_assert_str_eq(scene->piece[0]->name, "ball");
    scene_free(scene);
}
END_TEST

START_TEST(binaries_are_no_recipes)
{
    struct recipe recipe;
    ck_assert_int_eq(recipe_read("box.stl", &recipe, &job), STATUS_USAGE);
    ck_assert_ptr_nonnull(strstr(job.message, "\"box.stl\": is no recipe"));
    job_forgive(&job);
    ck_assert_int_eq(recipe_read("lost.recipe", &recipe, &job), STATUS_FILE);
    ck_assert_ptr_nonnull(strstr(job.message, "\"lost.recipe\": cannot be opened"));
}
END_TEST

START_TEST(an_empty_recipe_does_nothing)
{
    struct scene *scene;
    ck_assert_int_eq(run("", &scene), STATUS_OK);
    ck_assert_uint_eq(scene->count, 0);
    scene_free(scene);
}
END_TEST

START_TEST(cancel_ends_it)
{
    struct scene *scene;
    atomic_store(&job.cancel, true);
    ck_assert_int_eq(run("open box.stl", &scene), STATUS_CANCELLED);
    ck_assert_ptr_null(scene);
}
END_TEST

/* --- originals are not written over --------------------------------------------------------- */

START_TEST(originals_are_not_written_over_unless_asked)
{
    struct scene *scene;
    char *before = folder_read("box.stl", NULL);
    ck_assert_int_eq(run("open box.stl\nopen ball.stl\nsave ./box.stl", &scene), STATUS_REFUSED);
    ck_assert_ptr_nonnull(strstr(job.message, "box.original.stl"));
    char *after = folder_read("box.stl", NULL);
    ck_assert_mem_eq(before, after, 84 + 192 * 50);
    ck_assert_int_ne(access("box.original.stl", F_OK), 0);
    free(before);
    free(after);
}
END_TEST

START_TEST(originals_are_kept_once_when_asked)
{
    struct scene *scene;
    size_t size, kept_size;
    char *before = folder_read("box.stl", &size);
    ck_assert_int_eq(run("open box.stl\nopen ball.stl\nsave box.stl over=yes\nclose piece=1\n"
                         "save box.stl over=yes",
                         &scene),
                     STATUS_OK);
    char *kept = folder_read("box.original.stl", &kept_size);
    ck_assert_uint_eq(kept_size, size);
    ck_assert_mem_eq(kept, before, size);
    free(folder_read("box.stl", &size));
    ck_assert_uint_eq(size, 84 + 320 * 50);
    ck_assert_ptr_nonnull(strstr(said, "the original is kept as \"box.original.stl\""));
    ck_assert_ptr_nonnull(strstr(said, "was there before and stays"));
    scene_free(scene);
    free(before);
    free(kept);
}
END_TEST

/* A hard link does not reach from one file system to another: there it is a copy that is kept. */
START_TEST(an_original_on_another_disk_is_kept_too)
{
    struct scene *scene;
    struct stat was, kept_was;
    size_t size, kept_size;
    char *far = strdup("/dev/shm/fettle-test-XXXXXX");
    ck_assert_ptr_nonnull(mkdtemp(far));
    folder_mesh(far, "far.stl", shape_sphere(10, 1));
    char *target = folder_path(far, "far.stl");
    ck_assert_int_eq(symlink(target, "far.stl"), 0);
    ck_assert_int_eq(stat(target, &was), 0);
    char *before = folder_read(target, &size);
    ck_assert_int_eq(
        run("open far.stl\nopen box.stl\nclose piece=1\nsave far.stl over=yes", &scene), STATUS_OK);
    char *kept = folder_read("far.original.stl", &kept_size);
    ck_assert_uint_eq(kept_size, size);
    ck_assert_mem_eq(kept, before, size);
    ck_assert_int_eq(stat("far.original.stl", &kept_was), 0);
    ck_assert_int_eq(kept_was.st_mtim.tv_sec, was.st_mtim.tv_sec);
    ck_assert_int_eq(kept_was.st_mtim.tv_nsec, was.st_mtim.tv_nsec);
    ck_assert_uint_eq(kept_was.st_mode, was.st_mode);
    scene_free(scene);
    free(before);
    free(kept);
    free(target);
    folder_remove(far);
}
END_TEST

START_TEST(a_save_that_fails_leaves_the_original_and_nothing_beside_it)
{
    struct scene *scene;
    char *before = folder_read("box.stl", NULL);
    ck_assert_int_ne(run("open box.stl\nsave box.stl over=yes as=nothing", &scene), STATUS_OK);
    ck_assert_int_ne(access("box.original.stl", F_OK), 0);
    char *after = folder_read("box.stl", NULL);
    ck_assert_mem_eq(before, after, 84 + 192 * 50);
    free(before);
    free(after);
}
END_TEST

START_TEST(other_files_are_replaced)
{
    struct scene *scene;
    ck_assert_int_eq(run("open box.stl\nsave out.stl\nclose\nopen ball.stl\nsave out.stl", &scene),
                     STATUS_OK);
    size_t size;
    free(folder_read("out.stl", &size));
    ck_assert_uint_eq(size, 84 + 320 * 50);
    ck_assert_int_ne(access("out.original.stl", F_OK), 0);
    scene_free(scene);
}
END_TEST

START_TEST(units_are_written_and_read)
{
    struct scene *scene;
    ck_assert_int_eq(
        run("open box.stl\nsave inch.stl unit=in\nclose\nopen inch.stl unit=in", &scene),
        STATUS_OK);
    ck_assert_ptr_nonnull(strstr(said, "saved \"inch.stl\": stl, 192 triangles, unit in"));
    ck_assert_ptr_nonnull(strstr(said, "20 x 30 x 40 mm, unit in (as given)"));
    scene_free(scene);
}
END_TEST

START_TEST(names_are_short)
{
    struct scene *scene;
    rename("box.stl", "my.scan.stl");
    rename("ball.stl", "noending");
    ck_assert_int_eq(run("open my.scan.stl\nopen ./noending\nopen noending", &scene), STATUS_OK);
    ck_assert_str_eq(scene->piece[0]->name, "my.scan");
    ck_assert_str_eq(scene->piece[1]->name, "noending");
    ck_assert_str_eq(scene->piece[2]->name, "noending-2");
    scene_free(scene);
}
END_TEST

Suite *suite_recipe(void);

Suite *suite_recipe(void)
{
    Suite *suite = suite_create("recipe");
    TCase *tests = tcase_create("recipe");
    tcase_add_checked_fixture(tests, set_up, tear_down);
    tcase_set_timeout(tests, 60);
    tcase_add_test(tests, lines_are_carried_out_in_order);
    tcase_add_loop_test(tests, what_is_wrong_is_told_before_anything_is_done, 0,
                        (int)(sizeof wrongs / sizeof *wrongs));
    tcase_add_test(tests, the_first_failure_ends_it);
    tcase_add_test(tests, what_is_undone_is_not_done_at_all);
    tcase_add_test(tests, what_was_saved_before_it_was_undone_is_done);
    tcase_add_test(tests, redo_leads_along_the_last_way);
    tcase_add_test(tests, binaries_are_no_recipes);
    tcase_add_test(tests, an_empty_recipe_does_nothing);
    tcase_add_test(tests, cancel_ends_it);
    tcase_add_test(tests, originals_are_not_written_over_unless_asked);
    tcase_add_test(tests, originals_are_kept_once_when_asked);
    tcase_add_test(tests, an_original_on_another_disk_is_kept_too);
    tcase_add_test(tests, a_save_that_fails_leaves_the_original_and_nothing_beside_it);
    tcase_add_test(tests, other_files_are_replaced);
    tcase_add_test(tests, units_are_written_and_read);
    tcase_add_test(tests, names_are_short);
    suite_add_tcase(suite, tests);
    return suite;
}
