/* The real program in a terminal in a box: keys in, whole screens out. */
#include <check.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "format/format.h"
#include "tests/support/folder.h"
#include "tests/support/shapes.h"
#include "tests/support/terminal.h"

/* --- files to open -------------------------------------------------------------------------- */

static char *folder;

static bool two_gaps(const struct mesh *mesh, size_t t) /* a hole above and one below */
{
    const struct point *p = &mesh_point(mesh)[mesh_triangle(mesh)[t].v[0]];
    return p->z > 18 || p->z < -19;
}

static struct mesh *three_balls(void);

static void make_files(void)
{
    folder = folder_new();
    folder_mesh(folder, "box.stl", shape_box(30, 20, 10, 4));
    struct mesh *ball = shape_sphere(20, 4);
    folder_mesh(folder, "ball.stl", shape_without(ball, two_gaps));
    mesh_free(ball);
    folder_mesh(folder, "three.stl", three_balls());
}

/* One ball in the middle, two smaller ones beside it. */
static struct mesh *three_balls(void)
{
    struct mesh *ball[] = {shape_sphere(20, 3), shape_sphere(5, 2), shape_sphere(5, 2)};
    static const double move[][3] = {{0, 0, 0}, {40, 0, 0}, {-40, 0, 0}};
    struct mesh *all = shape_join((const struct mesh *const *)ball, move, 3);
    for (int i = 0; i < 3; i++)
        mesh_free(ball[i]);
    return all;
}

static void remove_files(void)
{
    folder_remove(folder);
}

static struct terminal *begin(int rows, int columns, const char *term, const char *locale,
                              const char *state, const char *file)
{
    const struct terminal_options options = {.rows = rows,
                                             .columns = columns,
                                             .term = term,
                                             .locale = locale,
                                             .state = state,
                                             .folder = folder};
    const char *const arguments[] = {file, NULL};
    return terminal_new(&options, arguments);
}

#define WAIT TERMINAL_WAIT

/* --- tests ---------------------------------------------------------------------------------- */

/* What every terminal must give: the part is shown, named and judged; help opens; q leaves. */
static const struct {
    const char *term, *locale;
    int rows, columns;
} terminals[] = {
    {"vt100", "C", 24, 80},
    {"vt100", "C", 12, 40},
    {"linux", "C", 25, 80},
    {"xterm-256color", "C", 24, 80},
    {"xterm-256color", "C.UTF-8", 24, 80},
    {"xterm-256color", "C.UTF-8", 60, 200},
    {"xterm", "C.UTF-8", 30, 100},
    {"vt100", "C", 60, 200},
};

/* How many cells of the picture are not blank. */
static int ink(struct terminal *t, int rows, int columns)
{
    int sum = 0;
    for (int row = 1; row < rows - 2; row++) {
        const char *line = terminal_line(t, row);
        for (int i = 0; line[i] && i < columns; i++)
            sum += line[i] != ' ';
    }
    return sum;
}

START_TEST(every_terminal)
{
    struct terminal *t = begin(terminals[_i].rows, terminals[_i].columns, terminals[_i].term,
                               terminals[_i].locale, NULL, "box.stl");
    bool panels = terminals[_i].columns >= 64;
    WAIT(t, "box");
    if (panels)
        WAIT(t, "sound");
    terminal_rest(t);
    ck_assert_int_gt(ink(t, terminals[_i].rows, terminals[_i].columns / 2), 40);
    terminal_type(t, "?");
    WAIT(t, "OPERATIONS");
    terminal_key(t, TERMINAL_ESCAPE);
    terminal_rest(t);
    ck_assert(!terminal_shows(t, "OPERATIONS:"));
    terminal_type(t, "q");
    ck_assert_int_eq(terminal_wait_end(t), 0);
    terminal_free(t);
}
END_TEST

START_TEST(arrows_turn_the_part)
{
    struct terminal *t = begin(24, 80, NULL, NULL, NULL, "box.stl");
    WAIT(t, "sound");
    terminal_key(t, TERMINAL_LEFT); /* there and back once: the message goes with the first key */
    terminal_key(t, TERMINAL_RIGHT);
    terminal_rest(t);
    char *before = terminal_text(t);
    terminal_key(t, TERMINAL_LEFT);
    terminal_rest(t);
    char *turned = terminal_text(t);
    ck_assert_str_ne(before, turned);
    terminal_key(t, TERMINAL_RIGHT);
    terminal_rest(t);
    char *back = terminal_text(t);
    ck_assert_str_eq(before, back);
    free(before);
    free(turned);
    free(back);
    terminal_free(t);
}
END_TEST

START_TEST(too_small_and_back)
{
    struct terminal *t = begin(24, 80, NULL, NULL, NULL, "box.stl");
    WAIT(t, "sound");
    terminal_resize(t, 10, 30);
    WAIT(t, "too small");
    terminal_resize(t, 40, 120);
    WAIT(t, "SURFACE");
    terminal_resize(t, 12, 40);
    terminal_rest(t);
    ck_assert_int_gt(ink(t, 12, 40), 30);
    terminal_free(t);
}
END_TEST

START_TEST(faults_are_walked)
{
    struct terminal *t = begin(24, 80, NULL, NULL, NULL, "ball.stl");
    WAIT(t, "faulty");
    terminal_rest(t);
    terminal_type(t, "n");
    WAIT(t, " 1 of 2");
    terminal_type(t, "n");
    WAIT(t, " 2 of 2");
    terminal_type(t, "N");
    WAIT(t, " 1 of 2");
    terminal_free(t);
}
END_TEST

/* What nobody measured is shown as that where the walk comes to it, until another paint is chosen.
 */
START_TEST(invented_places_are_shown)
{
    struct terminal *t = begin(24, 80, "vt100", "C", NULL, "ball.stl");
    WAIT(t, "faulty");
    terminal_type(t, ":fill longest=0\r");
    WAIT(t, "Invented surface");
    terminal_rest(t);
    terminal_type(t, "n");
    WAIT(t, "Invented surface 1 of 2");
    terminal_rest(t);
    const char *middle = terminal_line(t, 11) + 22; /* lines across, but for the mark */
    ck_assert_msg(strspn(middle, "-=zEx") >= 6, "%s", middle);
    terminal_type(t, "g"); /* the next after it */
    WAIT(t, "own colours");
    terminal_free(t);
}
END_TEST

/* What the terminal's character set does not have is told as that, and takes its place. */
START_TEST(foreign_letters_are_question_marks)
{
    folder_mesh(folder, "Gr\303\274n.stl", shape_box(30, 20, 10, 4));
    struct terminal *t = begin(24, 80, "vt100", "C", NULL, "Gr\303\274n.stl");
    WAIT(t, "fettle  Gr??n");
    WAIT(t, "Gr??n: stl, ");
    terminal_free(t);
    t = begin(24, 80, NULL, "C.UTF-8", NULL, "Gr\303\274n.stl");
    WAIT(t, "fettle  Gr\303\274n");
    WAIT(t, "Gr\303\274n: stl, ");
    terminal_free(t);
}
END_TEST

START_TEST(fill_undo_redo_save)
{
    struct terminal *t = begin(24, 80, NULL, NULL, NULL, "ball.stl");
    WAIT(t, "faulty");
    terminal_type(t, ":fill shape=smooth\r");
    WAIT(t, "sound");
    terminal_type(t, "u");
    WAIT(t, "faulty");
    terminal_type(t, "r");
    WAIT(t, "sound");
    terminal_type(t, ":save whole.stl\r");
    terminal_rest(t);
    terminal_type(t, "q");
    ck_assert_int_eq(terminal_wait_end(t), 0);
    terminal_free(t);
    char *path = folder_path(folder, "whole.stl");
    struct file file;
    ck_assert(file_read(path, UNIT_NONE, &file, NULL) == STATUS_OK);
    ck_assert_uint_eq(shape_count(file.mesh).boundary, 0);
    file_release(&file);
    free(path);
}
END_TEST

START_TEST(the_plane_cuts_in_the_middle)
{
    struct terminal *t = begin(24, 80, NULL, NULL, NULL, "box.stl");
    WAIT(t, "sound");
    terminal_type(t, "c");
    WAIT(t, "cut through");
    WAIT(t, "Enter cut  o open  xyz square");
    terminal_type(t, "x");
    WAIT(t, "normal 1.00, 0.00, 0.00");
    terminal_type(t, "\r");
    WAIT(t, "15.00 x 20.00 x 10.00 mm");
    terminal_type(t, "u");
    WAIT(t, "30.00 x 20.00 x 10.00 mm");
    terminal_type(t, "cxo"); /* without a cap */
    WAIT(t, "left open");
    terminal_free(t);
}
END_TEST

START_TEST(quit_asks_when_not_saved)
{
    struct terminal *t = begin(24, 80, NULL, NULL, NULL, "box.stl");
    WAIT(t, "sound");
    terminal_type(t, ":scale by=2\r");
    WAIT(t, "60.00 x 40.00 x 20.00 mm");
    terminal_type(t, "q");
    WAIT(t, "Quit and drop");
    terminal_type(t, "n");
    WAIT(t, "still here");
    terminal_type(t, "qy");
    ck_assert_int_eq(terminal_wait_end(t), 0);
    terminal_free(t);
}
END_TEST

static const int deaths[] = {SIGKILL, SIGHUP, SIGTERM};

START_TEST(a_lost_session_goes_on)
{
    char *state = folder_new();
    struct terminal *t = begin(24, 80, NULL, NULL, state, "box.stl");
    WAIT(t, "sound");
    terminal_type(t, ":scale by=2\r");
    WAIT(t, "60.00 x 40.00 x 20.00 mm");
    terminal_signal(t, deaths[_i]);
    ck_assert_int_ge(terminal_wait_end(t), 0);
    terminal_free(t);
    t = begin(24, 80, NULL, NULL, state, NULL);
    WAIT(t, "was lost after 2 steps");
    terminal_type(t, "y");
    WAIT(t, "60.00 x 40.00 x 20.00 mm");
    terminal_type(t, "u");
    WAIT(t, "30.00 x 20.00 x 10.00 mm");
    terminal_free(t);
    folder_remove(state);
}
END_TEST

START_TEST(the_prompt_completes)
{
    struct terminal *t = begin(24, 80, NULL, NULL, NULL, "box.stl");
    WAIT(t, "sound");
    terminal_type(t, ":deci\t");
    WAIT(t, ":decimate");
    terminal_type(t, "wi\t");
    WAIT(t, ":decimate within=");
    terminal_key(t, TERMINAL_ESCAPE);
    terminal_type(t, ":open bal\t");
    WAIT(t, ":open ball.stl");
    terminal_type(t, "\r");
    WAIT(t, "all 2 pieces");
    terminal_type(t, "\t\t"); /* the panel tells of the piece that is chosen: the second */
    WAIT(t, "piece 2 of 2");
    WAIT(t, "faulty");
    terminal_free(t);
}
END_TEST

START_TEST(mistakes_are_told)
{
    struct terminal *t = begin(24, 80, NULL, NULL, NULL, "box.stl");
    WAIT(t, "sound");
    terminal_type(t, ":fil\r");
    WAIT(t, "fill");
    terminal_type(t, ":stand on=@\r");
    WAIT(t, "no point has been put");
    terminal_type(t, ":open nothing.stl\r");
    WAIT(t, "nothing.stl");
    terminal_free(t);
}
END_TEST

START_TEST(a_point_is_put)
{
    struct terminal *t = begin(24, 80, NULL, NULL, NULL, "box.stl");
    WAIT(t, "sound");
    terminal_rest(t);
    terminal_type(t, "/p\r"); /* from above: the middle of the picture is the box's top */
    WAIT(t, "point @ = ");
    WAIT(t, "10.000 mm");
    terminal_free(t);
}
END_TEST

START_TEST(the_mouse_puts_a_point)
{
    struct terminal *t = begin(24, 80, NULL, NULL, NULL, "box.stl");
    WAIT(t, "sound");
    terminal_type(t, "/");
    terminal_rest(t);
    terminal_click(t, 11, 25);
    WAIT(t, "10.000 mm");
    terminal_free(t);
}
END_TEST

/* From above the middle of the picture is the large ball: it is dropped, and comes back. */
START_TEST(a_bit_is_dropped_where_the_pointer_is)
{
    struct terminal *t = begin(24, 80, NULL, NULL, NULL, "three.stl");
    WAIT(t, "sound");
    terminal_rest(t);
    terminal_type(t, "/X");
    WAIT(t, "drop: pointing at");
    terminal_type(t, "\r");
    WAIT(t, "1280 triangles gone");
    WAIT(t, "640 stay");
    terminal_type(t, "u");
    WAIT(t, "undone");
    terminal_free(t);
}
END_TEST

/* What it would be is told, and what speaks against it, while the line is typed. */
START_TEST(a_hole_is_seen_before_it_is_made)
{
    struct terminal *t = begin(24, 80, NULL, NULL, NULL, "box.stl");
    WAIT(t, "sound");
    terminal_rest(t);
    terminal_type(t, "/");
    terminal_rest(t);
    terminal_type(t, "B");
    WAIT(t, "bore: pointing at");
    terminal_type(t, "\r");
    WAIT(t, "a hole of 4.5 mm (ISO 273 medium), through");
    WAIT(t, ":bore at=@");
    terminal_type(t, " depth=99");
    WAIT(t, "it breaks through on the far side");
    terminal_key(t, TERMINAL_ESCAPE);
    terminal_rest(t);
    ck_assert(!terminal_shows(t, "(not saved)"));
    terminal_type(t, ":bore at=@\r");
    WAIT(t, "measured back: 4.5 mm");
    WAIT(t, "(not saved)");
    terminal_free(t);
}
END_TEST

Suite *suite_screen(void);

Suite *suite_screen(void)
{
    Suite *suite = suite_create("screen");
    TCase *tests = tcase_create("screen");
    tcase_set_timeout(tests, 90);
    tcase_add_checked_fixture(tests, make_files, remove_files);
    tcase_add_loop_test(tests, every_terminal, 0, sizeof terminals / sizeof *terminals);
    tcase_add_test(tests, arrows_turn_the_part);
    tcase_add_test(tests, too_small_and_back);
    tcase_add_test(tests, faults_are_walked);
    tcase_add_test(tests, invented_places_are_shown);
    tcase_add_test(tests, foreign_letters_are_question_marks);
    tcase_add_test(tests, fill_undo_redo_save);
    tcase_add_test(tests, the_plane_cuts_in_the_middle);
    tcase_add_test(tests, quit_asks_when_not_saved);
    tcase_add_loop_test(tests, a_lost_session_goes_on, 0, sizeof deaths / sizeof *deaths);
    tcase_add_test(tests, the_prompt_completes);
    tcase_add_test(tests, mistakes_are_told);
    tcase_add_test(tests, a_point_is_put);
    tcase_add_test(tests, the_mouse_puts_a_point);
    tcase_add_test(tests, a_bit_is_dropped_where_the_pointer_is);
    tcase_add_test(tests, a_hole_is_seen_before_it_is_made);
    suite_add_tcase(suite, tests);
    return suite;
}
