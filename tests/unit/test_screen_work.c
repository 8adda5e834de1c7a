/* The work at the screen as a technician does it: several pieces, saving, the prompt, what comes by
 * standard input, what is lost and taken up again. */
#include <check.h>
#include <dirent.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "tests/support/folder.h"
#include "tests/support/screens.h"
#include "tests/support/shapes.h"

#define WAIT TERMINAL_WAIT

static bool is_file(const char *name)
{
    char *path = folder_path(screens_folder, name);
    bool there = access(path, F_OK) == 0;
    free(path);
    return there;
}

/* The line that begins a name in a panel. */
static const char *line_with(struct terminal *t, int rows, const char *text)
{
    for (int row = 0; row < rows; row++)
        if (strstr(terminal_line(t, row), text))
            return terminal_line(t, row);
    return "";
}

/* --- panels --------------------------------------------------------------------------------- */

START_TEST(a_figure_below_zero)
{
    struct terminal *t = screens_begin(60, 200, (const char *const[]){"ball.stl", NULL});
    WAIT(t, "Euler characteristic"); /* a sphere's 2 less one for each hole */
    WAIT(t, "faulty");
    terminal_rest(t);
    const char *line = line_with(t, 60, "Euler characteristic");
    ck_assert_msg(strcmp(line + strlen(line) - 3, " -3") == 0, "%s", line);
    terminal_free(t);
}
END_TEST

START_TEST(several_pieces_are_summed_and_walked)
{
    struct terminal *t = screens_begin(24, 80, (const char *const[]){"box.stl", "ball.stl", NULL});
    WAIT(t, "all 2 pieces");
    WAIT(t, "2 pieces together");
    WAIT(t, "faulty: 1 of 2 pieces");
    terminal_type(t, "n");
    WAIT(t, "piece 2: Holes 1 of 5");
    terminal_type(t, "N"); /* round about, to the last */
    WAIT(t, "piece 2: ");
    terminal_type(t, "\t");
    WAIT(t, "box  piece 1 of 2");
    WAIT(t, "sound");
    terminal_type(t, "n");
    WAIT(t, "nothing to find fault with");
    terminal_type(t, ":hide piece=1\r");
    WAIT(t, "box (hidden)");
    terminal_type(t, ":hide piece=2\r");
    WAIT(t, "> hide");
    terminal_rest(t);
    terminal_type(t, "\t\t");
    WAIT(t, "every piece is hidden");
    terminal_free(t);
}
END_TEST

START_TEST(clouds_beside_solids_are_counted)
{
    struct mesh *dots = mesh_new(100, 0);
    for (int i = 0; i < 100; i++)
        mesh_point_edit(dots)[i] = vec_point(vec(i % 10, i / 10, 0));
    folder_mesh(screens_folder, "dots.ply", dots);
    struct terminal *t = screens_begin(24, 80, (const char *const[]){"box.stl", "dots.ply", NULL});
    WAIT(t, "points only: 1 of 2 pieces");
    terminal_free(t);
}
END_TEST

START_TEST(nothing_open_has_no_empty_headings)
{
    struct terminal *t = screens_begin(24, 80, NULL);
    WAIT(t, "nothing is open");
    terminal_rest(t);
    ck_assert(!terminal_shows(t, "FINDINGS"));
    ck_assert(!terminal_shows(t, "SURFACE"));
    terminal_free(t);
}
END_TEST

/* The chosen one of two alike stands out without colour too. */
START_TEST(the_others_are_pale)
{
    struct terminal *t = screens_begin(24, 80, (const char *const[]){"box.stl", "box.stl", NULL});
    WAIT(t, "each of them sound");
    terminal_type(t, ":move 50,0,0 piece=2\r");
    WAIT(t, "80.00 x 20.00 x 10.00 mm");
    terminal_type(t, "/");
    terminal_rest(t);
    ck_assert_int_eq(terminal_line(t, 10)[40], terminal_line(t, 10)[8]); /* alike */
    terminal_type(t, "\t");
    WAIT(t, "piece 1 of 2");
    terminal_rest(t);
    ck_assert_ptr_nonnull(strchr(".:", terminal_line(t, 10)[40]));
    ck_assert_int_ne(terminal_line(t, 10)[40], terminal_line(t, 10)[8]);
    terminal_free(t);
}
END_TEST

/* A close-up does not stay where the part was before it was made 25 times as large. */
START_TEST(what_grows_is_shown_whole)
{
    struct terminal *t = screens_begin_box();
    terminal_type(t, "++++++++");
    terminal_rest(t);
    terminal_type(t, ":scale by=25.4\r");
    WAIT(t, "25.4 times as large");
    terminal_key(t, TERMINAL_ESCAPE);
    WAIT(t, " 200 mm"); /* the scale bar's length */
    terminal_free(t);
}
END_TEST

/* --- keys ----------------------------------------------------------------------------------- */

/* Over a slow line Esc and the key behind it arrive in one packet. */
START_TEST(escape_and_a_key_at_once)
{
    struct terminal *t = screens_begin_box();
    terminal_type(t, "c");
    WAIT(t, "Esc back");
    terminal_type(t, "\033?");
    WAIT(t, "OPERATIONS");
    terminal_key(t, TERMINAL_ESCAPE);
    WAIT(t, "arrows turn");
    terminal_free(t);
}
END_TEST

START_TEST(to_the_shell_and_back)
{
    struct terminal *t = screens_begin_box();
    terminal_type(t, "\032");
    terminal_wait_stopped(t);
    terminal_resize(t, 40, 120);
    terminal_signal(t, SIGCONT);
    TERMINAL_UNTIL(t, terminal_line(t, 1)[85] == '|', "a layout for the new size");
    terminal_type(t, "?");
    WAIT(t, "OPERATIONS");
    terminal_type(t, " "); /* the operations fill the first page */
    WAIT(t, "to the shell; fg comes back");
    terminal_free(t);
}
END_TEST

/* Each key's other meaning is told, and put back. */
START_TEST(arrows_shift_and_turn)
{
    struct terminal *t = screens_begin_box();
    terminal_type(t, "v");
    WAIT(t, "arrows shift the picture");
    WAIT(t, "arrows shift  n next");
    terminal_key(t, TERMINAL_LEFT);
    terminal_key(t, TERMINAL_LEFT);
    terminal_type(t, "c");
    WAIT(t, "arrows tilt");
    terminal_type(t, "v");
    WAIT(t, "arrows turn  Enter cut");
    terminal_type(t, "v");
    WAIT(t, "arrows tilt");
    terminal_free(t);
}
END_TEST

/* What must be typed comes first, before defaults that would only be in the way. */
START_TEST(the_prompt_waits_for_what_must_be_typed)
{
    struct terminal *t = screens_begin_box();
    terminal_type(t, "s");
    WAIT(t, "over=no");
    terminal_rest(t);
    ck_assert_str_eq(terminal_line(t, 23), ":save");
    ck_assert_str_ne(terminal_line(t, 22),
                     "  piece=  which piece"); /* the list ends at the prompt */
    ck_assert_str_ne(terminal_line(t, 21), "");
    terminal_key(t, TERMINAL_ESCAPE);
    terminal_type(t, "f");
    WAIT(t, ":fill longest=0 shape=smooth");
    WAIT(t, "shape=flat|smooth");
    terminal_key(t, TERMINAL_ESCAPE);
    terminal_type(t, "::move 5,0,0\r"); /* typed once too often: no line begins so */
    WAIT(t, "shifted by 5, 0, 0 mm");
    terminal_free(t);
}
END_TEST

START_TEST(help_fits_a_narrow_screen)
{
    struct terminal *t = screens_begin(12, 40, (const char *const[]){"box.stl", NULL});
    WAIT(t, "box");
    terminal_type(t, "?");
    WAIT(t, "OPERATIONS: the key puts the command");
    WAIT(t, "into the prompt");
    terminal_free(t);
}
END_TEST

/* Names with blanks get their quotes, and the home folder is where "~/" says. */
START_TEST(names_are_completed_as_they_must_be_typed)
{
    folder_mesh(screens_folder, "my part.stl", shape_box(1, 2, 3, 1));
    setenv("HOME", screens_folder, 1);
    struct terminal *t = screens_begin_box();
    terminal_type(t, ":open my\t");
    WAIT(t, ":open \"my part.stl\"");
    terminal_type(t, "\025open zz\t");
    WAIT(t, "nothing begins like that");
    terminal_type(t, "\025open ~/bal\t");
    WAIT(t, ":open ~/ball.stl");
    terminal_type(t, "\r");
    WAIT(t, "all 2 pieces");
    terminal_free(t);
}
END_TEST

START_TEST(keys_are_answered_while_a_step_runs)
{
    folder_mesh(screens_folder, "large.ply", shape_sphere(20, 7));
    struct terminal *t = screens_begin(24, 80, (const char *const[]){"large.ply", NULL});
    WAIT(t, "triangles          327 680");
    terminal_type(t, ":smooth 1000\r");
    WAIT(t, "Esc stops it");
    terminal_type(t, "u");
    WAIT(t, "a step is running");
    WAIT(t, "smoothing"); /* beside the progress */
    terminal_key(t, TERMINAL_ESCAPE);
    WAIT(t, "nothing was changed");
    terminal_type(t, ":quit\r");
    ck_assert_int_eq(terminal_wait_end(t), 0);
    terminal_free(t);
}
END_TEST

/* The README shows a screen of 80x24, of plain characters, with the hints that there are. */
START_TEST(the_readme_shows_this_screen)
{
    char *readme = folder_read("README.md", &(size_t){0});
    ck_assert_ptr_nonnull(readme);
    const char *line = strstr(readme, "<!-- screen -->\n```\n");
    ck_assert_ptr_nonnull(line);
    line += strlen("<!-- screen -->\n```\n");
    struct terminal *t = screens_begin_box();
    terminal_rest(t);
    for (int row = 0; row < 24; row++) {
        size_t length = strcspn(line, "\n");
        ck_assert_uint_le(length, 80);
        for (size_t i = 0; i < length; i++)
            ck_assert(line[i] >= ' ' && line[i] < 127);
        if (row == 23) {
            const char *hints = terminal_line(t, 23);
            ck_assert_uint_eq(length, strlen(hints));
            ck_assert_msg(strncmp(line, hints, length) == 0, "capture the README's screen anew");
        }
        line += length + 1;
    }
    ck_assert_int_eq(strncmp(line, "```\n<!-- end -->", 16), 0);
    terminal_free(t);
    free(readme);
}
END_TEST

/* --- files ---------------------------------------------------------------------------------- */

START_TEST(a_file_that_is_there_is_asked_about)
{
    folder_write(screens_folder, "mine.stl", "not to be lost", 14);
    struct terminal *t = screens_begin_box();
    terminal_type(t, ":save mine.stl\r");
    WAIT(t, "Write over it?");
    terminal_type(t, "n");
    WAIT(t, "not saved");
    char *path = folder_path(screens_folder, "mine.stl");
    size_t size;
    char *text = folder_read(path, &size);
    ck_assert_uint_eq(size, 14);
    free(text);
    terminal_type(t, ":save mine.stl\r");
    WAIT(t, "Write over it?");
    terminal_type(t, "y");
    WAIT(t, "saved \"mine.stl\"");
    terminal_type(t, "/:save mine.stl\r"); /* its own by now */
    WAIT(t, "saved \"mine.stl\"");
    text = folder_read(path, &size);
    ck_assert_uint_gt(size, 84);
    free(text);
    free(path);
    terminal_free(t);
}
END_TEST

START_TEST(the_terminal_is_no_file)
{
    struct terminal *t = screens_begin_box();
    terminal_type(t, ":open -\r");
    WAIT(t, "name a file");
    terminal_type(t, "/:save -\r");
    WAIT(t, "name a file");
    terminal_type(t, "q");
    ck_assert_int_eq(terminal_wait_end(t), 0);
    terminal_free(t);
}
END_TEST

START_TEST(a_full_quota_is_an_error)
{
    const struct terminal_options options = {
        .rows = 24, .columns = 80, .folder = screens_folder, .file_limit = 100000};
    struct terminal *t = terminal_new(&options, (const char *const[]){"ball.stl", NULL});
    WAIT(t, "faulty");
    terminal_type(t, ":save copy.stl\r");
    WAIT(t, "\"copy.stl\": ");
    terminal_rest(t);
    ck_assert(!terminal_shows(t, "saved"));
    ck_assert(!is_file("copy.stl"));
    terminal_type(t, "q");
    ck_assert_int_eq(terminal_wait_end(t), 0);
    terminal_free(t);
}
END_TEST

static const struct {
    const char *term, *words;
} unfit[] = {{"no-such-terminal", "is no terminal that is known"}, {"dumb", "cannot place its"}};

START_TEST(an_unfit_terminal_is_told)
{
    const struct terminal_options options = {
        .rows = 24, .columns = 80, .folder = screens_folder, .term = unfit[_i].term};
    struct terminal *t = terminal_new(&options, (const char *const[]){"box.stl", NULL});
    ck_assert_int_eq(terminal_wait_end(t), 2);
    ck_assert(terminal_shows(t, unfit[_i].words));
    ck_assert(!terminal_shows(t, "ended"));
    terminal_free(t);
}
END_TEST

#ifndef __SANITIZE_ADDRESS__ /* which wants all addresses there are */
/* With whatever little memory, it says what is wrong, or works; it does not end. */
static const long megabytes[] = {120, 160, 200, 240, 280, 285, 290, 300};

START_TEST(little_memory_is_told)
{
    folder_mesh(screens_folder, "large.stl", shape_sphere(20, 8));
    const struct terminal_options options = {
        .rows = 24, .columns = 80, .folder = screens_folder, .memory_limit = megabytes[_i] << 20};
    struct terminal *t = terminal_new(&options, (const char *const[]){"large.stl", NULL});
    TERMINAL_UNTIL(t, terminal_shows(t, "out of memory") || terminal_shows(t, "sound"), "a word");
    terminal_type(t, "q");
    ck_assert_int_eq(terminal_wait_end(t), 0);
    terminal_free(t);
}
END_TEST
#endif

/* --- lost and taken up ---------------------------------------------------------------------- */

static struct terminal *begin_state(char *state, const char *file, const char *input)
{
    const struct terminal_options options = {
        .rows = 24, .columns = 80, .folder = screens_folder, .state = state, .input = input};
    return terminal_new(&options, (const char *const[]){file, NULL});
}

static int copies_of_input(const char *state)
{
    char *path = folder_path(state, "fettle");
    DIR *entries = opendir(path);
    int n = 0;
    for (struct dirent *e; entries && (e = readdir(entries));)
        n += strncmp(e->d_name, "input.", 6) == 0;
    if (entries)
        closedir(entries);
    free(path);
    return n;
}

START_TEST(standard_input_outlives_the_session)
{
    char *state = folder_new();
    struct terminal *t = begin_state(state, "-", "box.stl");
    WAIT(t, "input");
    WAIT(t, "sound");
    terminal_type(t, ":scale by=2\r");
    WAIT(t, "60.00 x 40.00 x 20.00 mm");
    terminal_signal(t, SIGKILL);
    ck_assert_int_ge(terminal_wait_end(t), 0);
    terminal_free(t);
    ck_assert_int_eq(copies_of_input(state), 1);
    t = begin_state(state, NULL, NULL);
    WAIT(t, "was lost after 2 steps");
    terminal_type(t, "y");
    WAIT(t, "60.00 x 40.00 x 20.00 mm");
    terminal_type(t, "qy");
    ck_assert_int_eq(terminal_wait_end(t), 0);
    terminal_free(t);
    ck_assert_int_eq(copies_of_input(state), 0);
    folder_remove(state);
}
END_TEST

START_TEST(what_was_saved_stays_saved)
{
    char *state = folder_new();
    struct terminal *t = begin_state(state, "box.stl", NULL);
    WAIT(t, "sound");
    terminal_type(t, ":scale by=2\r");
    WAIT(t, "(not saved)");
    terminal_type(t, ":save twice.stl\r");
    WAIT(t, "saved \"twice.stl\"");
    terminal_signal(t, SIGKILL);
    ck_assert_int_ge(terminal_wait_end(t), 0);
    terminal_free(t);
    for (int changed = 0; changed < 2;
         changed++) { /* as it was written; written over by somebody */
        if (changed)
            folder_write(screens_folder, "twice.stl", "other", 5);
        t = begin_state(state, NULL, NULL);
        WAIT(t, "was lost");
        terminal_type(t, "y");
        WAIT(t, "60.00 x 40.00 x 20.00 mm");
        terminal_rest(t);
        ck_assert_int_eq(terminal_shows(t, "(not saved)"), changed);
        terminal_signal(t, SIGKILL);
        ck_assert_int_ge(terminal_wait_end(t), 0);
        terminal_free(t);
    }
    folder_remove(state);
}
END_TEST

Suite *suite_screen_work(void);

Suite *suite_screen_work(void)
{
    Suite *suite = suite_create("screen_work");
    TCase *tests = tcase_create("screen_work");
    tcase_set_timeout(tests, 90);
    tcase_add_checked_fixture(tests, screens_set_up, screens_tear_down);
    tcase_add_test(tests, a_figure_below_zero);
    tcase_add_test(tests, several_pieces_are_summed_and_walked);
    tcase_add_test(tests, clouds_beside_solids_are_counted);
    tcase_add_test(tests, nothing_open_has_no_empty_headings);
    tcase_add_test(tests, the_others_are_pale);
    tcase_add_test(tests, what_grows_is_shown_whole);
    tcase_add_test(tests, escape_and_a_key_at_once);
    tcase_add_test(tests, to_the_shell_and_back);
    tcase_add_test(tests, arrows_shift_and_turn);
    tcase_add_test(tests, the_prompt_waits_for_what_must_be_typed);
    tcase_add_test(tests, help_fits_a_narrow_screen);
    tcase_add_test(tests, the_readme_shows_this_screen);
    tcase_add_test(tests, names_are_completed_as_they_must_be_typed);
    tcase_add_test(tests, keys_are_answered_while_a_step_runs);
    tcase_add_test(tests, a_file_that_is_there_is_asked_about);
    tcase_add_test(tests, the_terminal_is_no_file);
    tcase_add_test(tests, a_full_quota_is_an_error);
    tcase_add_loop_test(tests, an_unfit_terminal_is_told, 0, sizeof unfit / sizeof *unfit);
#ifndef __SANITIZE_ADDRESS__
    tcase_add_loop_test(tests, little_memory_is_told, 0, sizeof megabytes / sizeof *megabytes);
#endif
    tcase_add_test(tests, standard_input_outlives_the_session);
    tcase_add_test(tests, what_was_saved_stays_saved);
    suite_add_tcase(suite, tests);
    return suite;
}
