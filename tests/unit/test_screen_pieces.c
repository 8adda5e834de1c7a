/* Several pieces at the screen: told apart, chosen, hidden, locked, put back. */
#include <check.h>
#include <stdlib.h>
#include <string.h>

#include "tests/support/folder.h"
#include "tests/support/shapes.h"
#include "tests/support/terminal.h"

#define WAIT TERMINAL_WAIT

Suite *suite_screen_pieces(void);

static char *folder;

static void make_files(void)
{
    folder = folder_new();
    struct mesh *box = shape_box(30, 20, 10, 4), *beside = shape_box(30, 20, 10, 4);
    for (size_t v = 0; v < mesh_vertices(beside); v++)
        mesh_point_edit(beside)[v].x += 50;
    folder_mesh(folder, "box.stl", box);
    folder_mesh(folder, "beside.stl", beside);
}

static void remove_files(void)
{
    folder_remove(folder);
}

static struct terminal *begin_two(int rows, int columns, const char *term, const char *locale)
{
    const struct terminal_options options = {
        .rows = rows, .columns = columns, .folder = folder, .term = term, .locale = locale};
    return terminal_new(&options, (const char *const[]){"box.stl", "beside.stl", NULL});
}

static struct terminal *begin(void)
{
    struct terminal *t = begin_two(24, 80, NULL, NULL);
    WAIT(t, "each of them sound");
    return t;
}

static const struct {
    const char *term, *locale;
    int rows, columns;
} terminals[] = {
    {"vt100", "C", 24, 80},  {"vt100", "C", 12, 40},
    {"linux", "C", 25, 80},  {"xterm-256color", "C.UTF-8", 24, 80},
    {"xterm", "C", 60, 200},
};

/* Where a text stands within the picture; -1: nowhere. */
static int column_in_picture(struct terminal *t, int rows, int columns, const char *text)
{
    for (int row = 1; row < rows - 2; row++) {
        const char *line = terminal_line(t, row), *at = strstr(line, text);
        if (at && at - line < columns)
            return (int)(at - line);
    }
    return -1;
}

/* The same, once it stands there (or does no more): the picture follows the words. */
static int column_in_time(struct terminal *t, int rows, int columns, const char *text, bool there)
{
    TERMINAL_UNTIL(t, (column_in_picture(t, rows, columns, text) >= 0) == there, text);
    return column_in_picture(t, rows, columns, text);
}

/* Each has its number on the picture, on whatever terminal: the first on the left. */
START_TEST(pieces_have_their_numbers)
{
    int rows = terminals[_i].rows, columns = terminals[_i].columns;
    struct terminal *t = begin_two(rows, columns, terminals[_i].term, terminals[_i].locale);
    WAIT(t, "all 2 pieces");
    int picture = columns >= 140 ? columns - 41 : columns >= 64 ? columns - 29 : columns;
    int second = column_in_time(t, rows, picture, " 2 ", true);
    int first = column_in_time(t, rows, picture, " 1 ", true);
    ck_assert_int_ge(first, 0);
    ck_assert_int_gt(second, first);
    terminal_type(t, "g"); /* from by piece on to where it is from: no numbers any more */
    WAIT(t, "where it is from");
    ck_assert_int_lt(column_in_time(t, rows, picture, " 2 ", false), 0);
    terminal_type(t, "ggg");
    WAIT(t, "by piece");
    ck_assert_int_eq(column_in_time(t, rows, picture, " 2 ", true), second);
    terminal_free(t);
}
END_TEST

START_TEST(one_piece_is_not_told_apart)
{
    const struct terminal_options options = {.rows = 24, .columns = 80, .folder = folder};
    struct terminal *t = terminal_new(&options, (const char *const[]){"box.stl", NULL});
    WAIT(t, "sound");
    terminal_rest(t);
    ck_assert_int_lt(column_in_picture(t, 24, 51, " 1 "), 0);
    terminal_type(t, "gg"); /* own, plain, where it is from */
    WAIT(t, "where it is from");
    terminal_rest(t);
    ck_assert(!terminal_shows(t, "PIECES"));
    terminal_type(t, "k"); /* it need not be chosen */
    WAIT(t, "box (locked)");
    terminal_free(t);
}
END_TEST

START_TEST(keys_hide_and_lock_the_chosen_piece)
{
    struct terminal *t = begin();
    terminal_type(t, "t");
    WAIT(t, "choose a piece first");
    terminal_type(t, "\t\tt");
    WAIT(t, "beside          hidden");
    ck_assert_int_lt(column_in_time(t, 24, 51, " 2 ", false), 0);
    terminal_type(t, "k");
    WAIT(t, "hidden, locked");
    terminal_type(t, "t");
    WAIT(t, "beside          locked");
    terminal_type(t, ":move 5,0,0\r");
    WAIT(t, "piece 2 is locked; unlock it first");
    terminal_type(t, "k:move 5,0,0\r");
    WAIT(t, "shifted by 5, 0, 0 mm"); /* an undo is refused while a step runs */
    terminal_type(t, "uu");
    WAIT(t, "undone: unlock a piece");
    WAIT(t, "beside          locked");
    terminal_free(t);
}
END_TEST

START_TEST(the_chosen_piece_is_seen_alone)
{
    struct terminal *t = begin();
    terminal_type(t, "l");
    WAIT(t, "choose a piece first");
    terminal_type(t, "\t\tl");
    WAIT(t, "beside alone");
    ck_assert_int_lt(column_in_time(t, 24, 51, " 1 ", false), 0);
    terminal_type(t, "\t"); /* all of them, and round to the first: alone too */
    ck_assert_int_ge(column_in_time(t, 24, 51, " 2 ", true), 0);
    terminal_type(t, "\tl");
    WAIT(t, "with the others");
    ck_assert_int_ge(column_in_time(t, 24, 51, " 2 ", true), 0);
    terminal_free(t);
}
END_TEST

START_TEST(a_click_in_the_panel_chooses)
{
    struct terminal *t = begin();
    terminal_rest(t);
    int row = 1;
    while (row < 22 && !strstr(terminal_line(t, row), " 2  beside"))
        row++;
    terminal_click(t, row, 60);
    WAIT(t, "beside  piece 2 of 2");
    terminal_rest(t);
    for (row = 1; row < 22 && strcmp(terminal_line(t, row) + 51, "| all") != 0;)
        row++;
    terminal_click(t, row, 60);
    WAIT(t, "fettle  all 2 pieces");
    terminal_click(t, 23, 60); /* beside all of them */
    terminal_rest(t);
    ck_assert(terminal_shows(t, "fettle  all 2 pieces"));
    terminal_free(t);
}
END_TEST

START_TEST(a_piece_is_put_back)
{
    struct terminal *t = begin();
    WAIT(t, "80.00 x 20.00 x 10.00 mm");
    terminal_type(t, ":move 20,0,0 piece=2\r");
    WAIT(t, "100.0 x 20.00 x 10.00 mm");
    terminal_type(t, ":turn 90 piece=2\r");
    WAIT(t, "95.00 x 30.00 x 10.00 mm");
    terminal_type(t, ":put-back\r");
    WAIT(t, "box lies where it was opened");
    WAIT(t, "beside is put back");
    WAIT(t, "80.00 x 20.00 x 10.00 mm");
    terminal_type(t, "u");
    WAIT(t, "undone: put back");
    WAIT(t, "95.00 x 30.00 x 10.00 mm");
    terminal_free(t);
}
END_TEST

/* The plane comes out where the work is, also when it was placed elsewhere before. */
START_TEST(the_plane_passes_through_the_chosen_piece)
{
    struct terminal *t = begin();
    terminal_type(t, "\t\tc");
    WAIT(t, "cut through 65.00, 10.00, 5.00 mm");
    terminal_type(t, "x");
    terminal_key(t, TERMINAL_ESCAPE);
    WAIT(t, "arrows turn");
    terminal_type(t, ":move 0,0,100 piece=2\r");
    WAIT(t, "shifted by");
    terminal_type(t, "cz");
    WAIT(t, "cut through 65.00, 10.00, 5.00 mm"); /* still across it along x: it stays */
    terminal_key(t, TERMINAL_ESCAPE);
    WAIT(t, "arrows turn");
    terminal_type(t, "c");
    WAIT(t, "cut through 65.00, 10.00, 105.00 mm");
    terminal_type(t, "o");
    WAIT(t, "30.00 x 20.00 x 5.000 mm"); /* of the chosen one; the other is whole */
    terminal_type(t, "\t\t");
    WAIT(t, "box  piece 1 of 2");
    WAIT(t, "30.00 x 20.00 x 10.00 mm");
    terminal_free(t);
}
END_TEST

/* Pointed at a piece that is not chosen, no bit of the one that is goes. */
START_TEST(a_step_at_a_point_is_about_the_chosen_piece)
{
    struct terminal *t = begin();
    terminal_type(t, "/\tX");
    WAIT(t, "pointing beside the part");
    terminal_rest(t);
    terminal_click(t, 11, 42);
    WAIT(t, "that is beside, and box is chosen");
    terminal_click(t, 11, 9);
    WAIT(t, "all of it hangs together");
    terminal_free(t);
}
END_TEST

/* More pieces than there are lines: the list shows those around the chosen one, and leaves room for
 * what is below it; a click on what is left out goes on there. */
START_TEST(a_long_list_goes_along)
{
    enum { PIECES = 24 };
    const struct terminal_options options = {.rows = 24, .columns = 80, .folder = folder};
    const char *file[PIECES + 1] = {NULL};
    for (int i = 0; i < PIECES; i++)
        file[i] = i % 2 ? "beside.stl" : "box.stl";
    struct terminal *t = terminal_new(&options, file);
    WAIT(t, "all 24 pieces");
    WAIT(t, "... 20 more");
    WAIT(t, "FINDINGS");
    terminal_type(t, "\t");
    WAIT(t, "piece 1 of 24");
    for (int i = 0; i < 12; i++)
        terminal_type(t, "\t");
    WAIT(t, "piece 13 of 24");
    WAIT(t, " 13 box-7");
    WAIT(t, " before");
    WAIT(t, " more");
    WAIT(t, "FINDINGS");
    terminal_rest(t);
    for (int row = 0; row < 24; row++)
        if (strstr(terminal_line(t, row), " more"))
            terminal_click(t, row, 60);
    WAIT(t, "piece 15 of 24");
    WAIT(t, " 15 box-8");
    terminal_free(t);
}
END_TEST

/* What does not fit over the picture is read on a page of its own. */
START_TEST(all_that_a_step_said_can_be_read)
{
    struct terminal *t = begin_two(12, 40, NULL, NULL);
    WAIT(t, "all 2 pieces");
    terminal_type(t, ";");
    WAIT(t, "what the last step said"); /* from opening */
    terminal_type(t, "q:pairs at=0,0,0:1,0,0;9,0,0:10,0,0;0,9,0:1,9,0;0,0,9:1,0,9;");
    terminal_type(t, "5,0,0:6,0,0;0,5,0:1,5,0;0,0,5:1,0,5\r");
    WAIT(t, "more lines: ; shows all");
    terminal_type(t, ";");
    WAIT(t, "what the last step said");
    WAIT(t, "pair 7: ");
    terminal_type(t, "q:move 1 2\r");
    WAIT(t, "move");
    terminal_free(t);
}
END_TEST

Suite *suite_screen_pieces(void)
{
    Suite *suite = suite_create("screen_pieces");
    TCase *tests = tcase_create("screen_pieces");
    tcase_set_timeout(tests, 90);
    tcase_add_checked_fixture(tests, make_files, remove_files);
    tcase_add_loop_test(tests, pieces_have_their_numbers, 0, sizeof terminals / sizeof *terminals);
    tcase_add_test(tests, one_piece_is_not_told_apart);
    tcase_add_test(tests, keys_hide_and_lock_the_chosen_piece);
    tcase_add_test(tests, the_chosen_piece_is_seen_alone);
    tcase_add_test(tests, a_click_in_the_panel_chooses);
    tcase_add_test(tests, a_long_list_goes_along);
    tcase_add_test(tests, a_piece_is_put_back);
    tcase_add_test(tests, the_plane_passes_through_the_chosen_piece);
    tcase_add_test(tests, a_step_at_a_point_is_about_the_chosen_piece);
    tcase_add_test(tests, all_that_a_step_said_can_be_read);
    suite_add_tcase(suite, tests);
    return suite;
}
