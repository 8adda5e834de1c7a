/* Pairs of points put on two pieces that stand side by side. */
#include <check.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "tests/support/folder.h"
#include "tests/support/shapes.h"
#include "tests/support/terminal.h"

#define WAIT TERMINAL_WAIT

Suite *suite_screen_pairs(void);

static char *folder;

static void make_files(void)
{
    folder = folder_new();
    folder_mesh(folder, "box.stl", shape_box(30, 20, 10, 4));
    folder_mesh(folder, "other.stl", shape_box(30, 20, 10, 4));
    folder_mesh(folder, "third.stl", shape_box(30, 20, 10, 4));
}

static void remove_files(void)
{
    folder_remove(folder);
}

static struct terminal *begin_in(int rows, int columns, const char *term, const char *locale,
                                 const char *const *files)
{
    const struct terminal_options options = {
        .rows = rows, .columns = columns, .folder = folder, .term = term, .locale = locale};
    return terminal_new(&options, files);
}

/* Two boxes, the second put 50 mm aside. */
static struct terminal *begin_two(int rows, int columns, const char *term, const char *locale)
{
    struct terminal *t =
        begin_in(rows, columns, term, locale, (const char *const[]){"box.stl", "other.stl", NULL});
    WAIT(t, "all 2 pieces");
    terminal_rest(t);
    terminal_type(t, ":move 50,0,0 piece=2\r");
    WAIT(t, "shifted by 50, 0, 0");
    terminal_rest(t); /* the step is done when its note is there, but maybe not taken in yet */
    return t;
}

static struct terminal *begin(void)
{
    return begin_two(24, 80, NULL, NULL);
}

static void arrow(struct terminal *t, enum terminal_key key, int times)
{
    while (times-- > 0)
        terminal_key(t, key);
}

/* Takes the tool out and looks at both from above. */
static void take_out(struct terminal *t)
{
    terminal_type(t, "R");
    WAIT(t, ">> 2 other: moves");
    terminal_type(t, "/");
    terminal_rest(t);
    terminal_type(t, "\t");
    WAIT(t, ">> 1 box: stays");
    terminal_type(t, "/\t");
    WAIT(t, ">> 2 other: moves");
    terminal_rest(t);
}

/* A pair at the pointers, each of which is so many cells beside where it was put last; the left one
 * by `wrong` cells more. */
static void put_pair(struct terminal *t, int number, enum terminal_key key, int times, int wrong)
{
    char text[32];
    arrow(t, key, times + wrong);
    terminal_type(t, "p");
    WAIT(t, ">> 1 box");
    arrow(t, key, times);
    terminal_type(t, "p");
    WAIT(t, ">> 2 other");
    snprintf(text, sizeof text, "point %d on other (left)", number + 1);
    WAIT(t, text);
}

static int lines_with(struct terminal *t, const char *text)
{
    int sum = 0;
    for (int row = 0; row < 24; row++)
        sum += strstr(terminal_line(t, row), text) != NULL;
    return sum;
}

static const struct {
    const char *term, *locale;
    int rows, columns;
} terminals[] = {
    {"vt100", "C", 24, 80},  {"vt100", "C", 12, 40},
    {"linux", "C", 25, 80},  {"xterm-256color", "C.UTF-8", 24, 80},
    {"xterm", "C", 60, 200},
};

/* The whole way on whatever terminal, by keys alone. */
START_TEST(three_pairs_bring_a_piece_home)
{
    struct terminal *t = begin_two(terminals[_i].rows, terminals[_i].columns, terminals[_i].term,
                                   terminals[_i].locale);
    take_out(t);
    put_pair(t, 1, TERMINAL_LEFT, 0, 0);
    put_pair(t, 2, TERMINAL_LEFT, 3, 0);
    terminal_type(t, "\r");
    WAIT(t, "2 pairs are put; three or more");
    put_pair(t, 3, TERMINAL_UP, 1, 0);
    terminal_type(t, "\r");
    WAIT(t, "3 pairs: RMS");
    WAIT(t, "fettle  all 2 pieces");
    terminal_type(t, "u");
    WAIT(t, "undone: place by pairs");
    terminal_free(t);
}
END_TEST

START_TEST(home_is_where_the_other_is)
{
    struct terminal *t = begin();
    WAIT(t, "80.00 x 20.00 x 10.00 mm");
    take_out(t);
    put_pair(t, 1, TERMINAL_LEFT, 0, 0);
    put_pair(t, 2, TERMINAL_LEFT, 8, 0);
    put_pair(t, 3, TERMINAL_UP, 2, 0);
    WAIT(t, "RMS");
    terminal_type(t, "\r");
    WAIT(t, "3 pairs: RMS 0 mm"); /* the halves are of one size, and so are the boxes */
    WAIT(t, "moved by 50 mm");
    WAIT(t, "30.00 x 20.00 x 10.00 mm");
    terminal_type(t, "F");
    WAIT(t, ":fit moving=2 fixed=1");
    terminal_free(t);
}
END_TEST

/* A wrong pair is found, though its error is spread over all; without it the others fit. */
START_TEST(a_bad_pair_is_dropped)
{
    struct terminal *t = begin();
    take_out(t);
    put_pair(t, 1, TERMINAL_LEFT, 6, 0);
    WAIT(t, "three or more show");
    put_pair(t, 2, TERMINAL_UP, 2, 0);
    put_pair(t, 3, TERMINAL_RIGHT, 10, 0);
    WAIT(t, "RMS             0 mm");
    put_pair(t, 4, TERMINAL_DOWN, 1, 3); /* three rows too far down on the left */
    WAIT(t, "without 4       0 mm");
    terminal_rest(t);
    ck_assert(!terminal_shows(t, "RMS             0 mm"));
    ck_assert_int_eq(lines_with(t, "> 4"), 1);
    terminal_type(t, "n"); /* round about: to the first, and back */
    WAIT(t, "> 1");
    terminal_type(t, "N");
    WAIT(t, "> 4");
    terminal_type(t, "d");
    WAIT(t, "pair 4 is dropped");
    WAIT(t, "RMS             0 mm");
    terminal_type(t, "u");
    WAIT(t, "point 3 on box is taken back");
    WAIT(t, "> 3        left only");
    WAIT(t, ">> 1 box"); /* and is due again */
    terminal_free(t);
}
END_TEST

/* Marks stand on both halves, under the same number. */
START_TEST(pairs_are_numbered)
{
    struct terminal *t = begin();
    take_out(t);
    put_pair(t, 1, TERMINAL_LEFT, 4, 0);
    put_pair(t, 2, TERMINAL_UP, 2, 0);
    put_pair(t, 3, TERMINAL_RIGHT, 9, 0);
    put_pair(t, 4, TERMINAL_DOWN, 4, 0);
    terminal_key(t, TERMINAL_LEFT); /* the pointer covers the mark under it */
    terminal_rest(t);
    for (char label = '1'; label <= '4'; label++) {
        int left = 0, right = 0;
        for (int row = 1; row < 22; row++) {
            const char *line = terminal_line(t, row), *bar = strchr(line, '|');
            for (const char *p = line; *p && p < line + 57; p++)
                *(p < bar ? &left : &right) += *p == label;
        }
        ck_assert_msg(left > 0 && right > 0, "%c is missing", label);
    }
    terminal_free(t);
}
END_TEST

START_TEST(the_mouse_puts_pairs)
{
    static const int at[][2] = {{11, 8}, {11, 37}, {11, 18}, {11, 47}, {9, 12}, {9, 41}};
    struct terminal *t = begin();
    take_out(t);
    for (int i = 0; i < 6; i++) {
        terminal_click(t, at[i][0], at[i][1]);
        WAIT(t, i % 2 ? ">> 2 other" : ">> 1 box");
        terminal_rest(t);
    }
    WAIT(t, "RMS             0 mm");
    terminal_click(t, 11, 40); /* the half that is clicked at, whichever is due */
    WAIT(t, "right only");
    terminal_type(t, "\r");
    WAIT(t, "3 pairs: RMS 0 mm");
    terminal_free(t);
}
END_TEST

/* Points are there again after Esc, and after the step is undone; on other pieces they are not. */
START_TEST(points_outlive_the_tool)
{
    struct terminal *t = begin();
    take_out(t);
    put_pair(t, 1, TERMINAL_LEFT, 0, 0);
    put_pair(t, 2, TERMINAL_LEFT, 5, 0);
    put_pair(t, 3, TERMINAL_UP, 2, 0);
    terminal_key(t, TERMINAL_ESCAPE);
    WAIT(t, "fettle  all 2 pieces");
    terminal_type(t, "R");
    WAIT(t, "RMS             0 mm");
    terminal_type(t, "\r");
    WAIT(t, "moved by 50 mm");
    terminal_type(t, "u");
    WAIT(t, "undone");
    terminal_type(t, "R");
    WAIT(t, "RMS             0 mm");
    terminal_key(t, TERMINAL_ESCAPE);
    terminal_type(t, ":move 1,0,0 piece=1\r");
    WAIT(t, "shifted by 1, 0, 0");
    terminal_type(t, "R");
    WAIT(t, "three or more show");
    terminal_rest(t);
    ck_assert(!terminal_shows(t, "> 1"));
    terminal_free(t);
}
END_TEST

START_TEST(locked_pieces_stay)
{
    struct terminal *t = begin();
    terminal_type(t, ":lock 2\r");
    WAIT(t, "locked");
    terminal_type(t, "R");
    WAIT(t, ">> 1 box: moves");
    WAIT(t, "2 other: stays, locked");
    terminal_type(t, "e");
    WAIT(t, "other is locked; it stays");
    terminal_key(t, TERMINAL_ESCAPE);
    terminal_type(t, ":lock 1\r");
    WAIT(t, "\"unlock 1\" lets it move");
    terminal_type(t, "R");
    WAIT(t, "all pieces are locked");
    terminal_type(t, ":unlock all\r");
    WAIT(t, "can be moved again");
    terminal_type(t, "Re");
    WAIT(t, ">> 2 other: stays");
    WAIT(t, "1 box: moves");
    terminal_key(t, TERMINAL_ESCAPE);
    WAIT(t, "fettle  all 2 pieces");
    terminal_type(t, "F"); /* and so it goes on */
    WAIT(t, ":fit moving=1 fixed=2");
    terminal_free(t);
}
END_TEST

START_TEST(which_pieces_stand_there)
{
    struct terminal *t = begin_in(24, 80, NULL, NULL,
                                  (const char *const[]){"box.stl", "other.stl", "third.stl", NULL});
    WAIT(t, "all 3 pieces");
    WAIT(t, "each of them sound");
    terminal_type(t, "\t\t\tF"); /* the chosen one moves, here and with pairs */
    WAIT(t, ":fit moving=3 fixed=1");
    terminal_key(t, TERMINAL_ESCAPE);
    terminal_rest(t);
    terminal_type(t, "R");
    WAIT(t, ">> 3 third: moves");
    WAIT(t, "1 box: stays");
    terminal_type(t, "\to");
    WAIT(t, ">> 2 other: stays");
    terminal_type(t, "?"); /* the help begins with what the keys do now */
    WAIT(t, "KEYS OF THE PAIRS");
    WAIT(t, "drop the chosen pair");
    terminal_key(t, TERMINAL_ESCAPE);
    WAIT(t, ">> 2 other: stays");
    terminal_resize(t, 30, 100);
    terminal_rest(t);
    WAIT(t, ">> 2 other: stays");
    terminal_resize(t, 12, 40);
    terminal_rest(t);
    terminal_type(t, " "); /* the list over the picture */
    WAIT(t, "three or more show");
    terminal_type(t, " ");
    terminal_key(t, TERMINAL_ESCAPE);
    WAIT(t, "third  piece 3 of 3");
    terminal_type(t, ":hide 1\r");
    WAIT(t, "\"show 1\" brings it back");
    terminal_type(t, ":hide 2\r");
    WAIT(t, "\"show 2\" brings it back");
    terminal_type(t, "R");
    WAIT(t, "two pieces must be in sight");
    terminal_free(t);
}
END_TEST

/* Six times as near, what was pointed at still under the pointer; back, and it is there again. */
START_TEST(a_close_up_points_finely)
{
    struct terminal *t = begin();
    take_out(t);
    arrow(t, TERMINAL_LEFT, 3);
    terminal_rest(t);
    WAIT(t, "a cell: 1.2 x 2.4 mm");
    char *before = strdup(terminal_line(t, 22));
    terminal_type(t, "z");
    WAIT(t, "a cell: 0.2 x 0.4 mm");
    terminal_rest(t);
    double far[3], near[3];
    ck_assert_int_eq(
        sscanf(strstr(before, "): "), "): %lf, %lf, %lf mm", &far[0], &far[1], &far[2]), 3);
    ck_assert_int_eq(sscanf(strstr(terminal_line(t, 22), "): "), "): %lf, %lf, %lf mm", &near[0],
                            &near[1], &near[2]),
                     3);
    for (int k = 0; k < 3; k++)
        ck_assert_double_eq_tol(near[k], far[k], 0.3); /* a cell's half and the last digit */
    terminal_type(t, "z");
    terminal_rest(t);
    ck_assert_str_eq(terminal_line(t, 22), before);
    terminal_type(t, "z");
    terminal_rest(t);
    terminal_type(t, "p"); /* puts, and the whole piece is seen again */
    WAIT(t, ">> 1 box");
    terminal_type(t, "\t");
    WAIT(t, "a cell: 1.2 x 2.4 mm");
    free(before);
    terminal_free(t);
}
END_TEST

/* What was seen before it is forgotten with the tool. */
START_TEST(a_close_up_goes_with_the_tool)
{
    struct terminal *t = begin();
    take_out(t);
    terminal_type(t, "z");
    WAIT(t, "a cell: 0.2 x 0.4 mm");
    terminal_key(t, TERMINAL_ESCAPE);
    WAIT(t, "fettle  all 2 pieces");
    terminal_type(t, ":hide 1\r");
    WAIT(t, "\"show 1\" brings it back");
    terminal_type(t, "/p");
    terminal_rest(t);
    double before, after;
    const char *cell = strstr(terminal_line(t, 22), "a cell: ");
    ck_assert(cell && sscanf(cell, "a cell: %lf", &before) == 1);
    terminal_type(t, "z");
    terminal_rest(t);
    cell = strstr(terminal_line(t, 22), "a cell: ");
    ck_assert(cell && sscanf(cell, "a cell: %lf", &after) == 1);
    ck_assert_double_lt(after, before / 3);
    terminal_free(t);
}
END_TEST

/* What the pointer points at stays under it. */
START_TEST(it_comes_nearer_to_the_pointer)
{
    struct terminal *t = begin();
    take_out(t);
    arrow(t, TERMINAL_LEFT, 5);
    arrow(t, TERMINAL_UP, 1);
    terminal_rest(t);
    char *before = strdup(terminal_line(t, 22));
    double far[3], near[3];
    ck_assert_int_eq(
        sscanf(strstr(before, "): "), "): %lf, %lf, %lf mm", &far[0], &far[1], &far[2]), 3);
    terminal_type(t, "+++++");
    terminal_rest(t);
    ck_assert_int_eq(sscanf(strstr(terminal_line(t, 22), "): "), "): %lf, %lf, %lf mm", &near[0],
                            &near[1], &near[2]),
                     3);
    for (int k = 0; k < 3; k++)
        ck_assert_double_eq_tol(near[k], far[k], 0.2);
    terminal_type(t, "-----");
    terminal_rest(t);
    ck_assert_str_eq(terminal_line(t, 22), before);
    free(before);
    terminal_free(t);
}
END_TEST

/* So does what the mouse points at, on the half that it is on. */
START_TEST(the_wheel_comes_nearer_to_the_mouse)
{
    static const char *const halves_have[] = {">> 2 other", ">> 1 box"};
    struct terminal *t = begin();
    take_out(t);
    for (int half = 0; half < 2; half++) {
        int column = half ? 35 : 6;
        double far[3], near[3];
        terminal_click(t, 10, column);
        terminal_rest(t);
        terminal_type(t, "u"); /* the point is taken back, the pointer stays there */
        WAIT(t, halves_have[half]);
        terminal_key(t, TERMINAL_LEFT);
        terminal_key(t, TERMINAL_RIGHT);
        terminal_rest(t);
        ck_assert_int_eq(sscanf(strstr(terminal_line(t, 22), "): "), "): %lf, %lf, %lf mm", &far[0],
                                &far[1], &far[2]),
                         3);
        terminal_wheel(t, 10, column, true, 5);
        terminal_rest(t);
        ck_assert_int_eq(sscanf(strstr(terminal_line(t, 22), "): "), "): %lf, %lf, %lf mm",
                                &near[0], &near[1], &near[2]),
                         3);
        WAIT(t, "a cell: 0.5 x 1.0 mm"); /* a 1.2^5th of 1.2 */
        for (int k = 0; k < 3; k++)
            ck_assert_double_eq_tol(near[k], far[k], 0.2);
    }
    terminal_free(t);
}
END_TEST

/* The halves of the picture as text, without axes, marks and the pointer's row. */
static void halves(struct terminal *t, char left[1600], char right[1600])
{
    enum { HALF = 28 };
    size_t n = 0;
    for (int row = 2; row < 20; row++) {
        char line[90];
        snprintf(line, sizeof line, "%-80.80s", terminal_line(t, row));
        memcpy(left + n, line, HALF);
        memcpy(right + n, line + HALF + 1, HALF);
        n += HALF;
    }
}

/* One of two boxes is turned: once three pairs are put, both are seen alike. */
START_TEST(both_sides_are_seen_alike)
{
    static char left[1600], right[1600];
    folder_mesh(folder, "box.stl", shape_box(20, 20, 10, 4));
    folder_mesh(folder, "other.stl", shape_box(20, 20, 10, 4));
    struct terminal *t = begin();
    terminal_type(t, ":turn axis=z by=90 piece=2\r");
    WAIT(t, "turned by");
    take_out(t);
    terminal_type(t, "m");
    WAIT(t, "three pairs or more tell how it is seen alike; there are 0");
    terminal_type(
        t,
        "[[[[[[[[[[[["); /* the left one by a quarter, so that the same keys meet the same places */
    terminal_rest(t);
    put_pair(t, 1, TERMINAL_LEFT, 0, 0);
    put_pair(t, 2, TERMINAL_LEFT, 3, 0);
    put_pair(t, 3, TERMINAL_UP, 1, 0);
    terminal_type(t, "]]]]");
    terminal_rest(t);
    halves(t, left, right);
    ck_assert_str_ne(left, right);
    terminal_type(t, "|0m"); /* no axes; the other side says how */
    terminal_rest(t);
    terminal_type(t, "\t"); /* the pointer out of the way, on the other */
    terminal_rest(t);
    halves(t, left, right);
    int differ = 0;
    for (int i = 0; left[i] && right[i]; i++)
        differ += left[i] != right[i];
    ck_assert_msg(differ <= 2, "%d cells differ:\n%s\n%s", differ, left, right); /* the pointer */
    terminal_free(t);
}
END_TEST

START_TEST(the_list_can_be_put_away)
{
    struct terminal *t = begin();
    take_out(t);
    terminal_type(t, " ");
    terminal_rest(t);
    ck_assert(!terminal_shows(t, "PAIRS"));
    ck_assert_int_eq(terminal_line(t, 5)[39], '|'); /* halves of the whole width */
    terminal_type(t, " ");
    WAIT(t, "PAIRS");
    terminal_free(t);
}
END_TEST

Suite *suite_screen_pairs(void)
{
    Suite *suite = suite_create("screen_pairs");
    TCase *tests = tcase_create("screen_pairs");
    tcase_set_timeout(tests, 90);
    tcase_add_checked_fixture(tests, make_files, remove_files);
    tcase_add_loop_test(tests, three_pairs_bring_a_piece_home, 0,
                        sizeof terminals / sizeof *terminals);
    tcase_add_test(tests, home_is_where_the_other_is);
    tcase_add_test(tests, a_bad_pair_is_dropped);
    tcase_add_test(tests, pairs_are_numbered);
    tcase_add_test(tests, the_mouse_puts_pairs);
    tcase_add_test(tests, points_outlive_the_tool);
    tcase_add_test(tests, locked_pieces_stay);
    tcase_add_test(tests, which_pieces_stand_there);
    tcase_add_test(tests, a_close_up_points_finely);
    tcase_add_test(tests, a_close_up_goes_with_the_tool);
    tcase_add_test(tests, it_comes_nearer_to_the_pointer);
    tcase_add_test(tests, the_wheel_comes_nearer_to_the_mouse);
    tcase_add_test(tests, both_sides_are_seen_alike);
    tcase_add_test(tests, the_list_can_be_put_away);
    suite_add_tcase(suite, tests);
    return suite;
}
