/* Points put on the surface, and the way back out of everything. */
#include <check.h>
#include <stdlib.h>
#include <string.h>

#include "tests/support/screens.h"

#define WAIT TERMINAL_WAIT

Suite *suite_screen_points(void);

START_TEST(points_are_taken_back)
{
    struct terminal *t = screens_begin_box();
    terminal_rest(t);
    terminal_type(t, "/");
    terminal_rest(t);
    terminal_type(t, "p\r");
    WAIT(t, "point @ = ");
    terminal_type(t, "p");
    WAIT(t, "Esc back");
    terminal_type(t, "\r");
    WAIT(t, "point @2");
    terminal_type(t, "\177");
    WAIT(t, "point 2 is taken back");
    terminal_type(t, ":stand on=@2\r");
    WAIT(t, "point @2 has not been put yet; there is 1");
    terminal_key(t, TERMINAL_ESCAPE);
    terminal_type(t, ":stand on=@\r");
    WAIT(t, "no point has been put");
    terminal_free(t);
}
END_TEST

/* The next point is looked for where the last one was put; what wants places gets them. */
START_TEST(points_go_into_the_line)
{
    struct terminal *t = screens_begin_box();
    terminal_type(t, "/");
    terminal_rest(t);
    terminal_type(t, "P");
    WAIT(t, "on=  a point on the side that is to go down; else it is chosen (@: a point");
    terminal_key(t, TERMINAL_ESCAPE);
    terminal_type(t, "p\r");
    WAIT(t, "point @ = ");
    terminal_type(t, "P");
    WAIT(t, ":stand on=@");
    terminal_key(t, TERMINAL_ESCAPE);
    terminal_type(t, "H");
    WAIT(t, ":hollow at=@ wall=2");
    terminal_key(t, TERMINAL_ESCAPE);
    terminal_type(t, "p");
    for (int i = 0; i < 4; i++)
        terminal_key(t, TERMINAL_LEFT);
    terminal_type(t, "\r");
    WAIT(t, "point @2");
    terminal_rest(t);
    char *second = strdup(terminal_line(t, 22));
    terminal_type(t, "p\r"); /* not in the middle again */
    WAIT(t, "point @3");
    terminal_rest(t);
    ck_assert_str_eq(strchr(second, '=') + 1, strchr(terminal_line(t, 22), '=') + 1);
    terminal_type(t, "H");
    WAIT(t, ":hollow at=@1;@2;@3 wall=2");
    terminal_key(t, TERMINAL_ESCAPE);
    terminal_type(t, "pu"); /* with the pointer out, too */
    WAIT(t, "point 3 is taken back");
    free(second);
    terminal_free(t);
}
END_TEST

/* Esc takes away what is uppermost: the pointer, the fault that is looked at, the points. */
START_TEST(escape_goes_back_one_step_at_a_time)
{
    struct terminal *t = screens_begin(24, 80, (const char *const[]){"ball.stl", NULL});
    WAIT(t, "faulty");
    terminal_rest(t);
    terminal_type(t, "p\r");
    WAIT(t, "point @ = ");
    terminal_type(t, "n");
    WAIT(t, "1/5");
    terminal_type(t, "p");
    WAIT(t, "Esc back");
    terminal_key(t, TERMINAL_ESCAPE);
    WAIT(t, "arrows turn");
    ck_assert(terminal_shows(t, "1/5"));
    terminal_key(t, TERMINAL_ESCAPE);
    terminal_rest(t);
    ck_assert(!terminal_shows(t, "1/5"));
    terminal_type(t, ":stand on=@\r"); /* the point is still there */
    WAIT(t, "> stand");
    terminal_type(t, "u");
    WAIT(t, "undone");
    terminal_type(t, "p\r");
    WAIT(t, "point @ = ");
    terminal_key(t, TERMINAL_ESCAPE);
    WAIT(t, "the point is taken away");
    terminal_free(t);
}
END_TEST

/* On a narrow screen the panels lie over the picture: Esc puts them away. */
START_TEST(escape_puts_panels_away)
{
    struct terminal *t = screens_begin(12, 40, (const char *const[]){"box.stl", NULL});
    WAIT(t, "box");
    terminal_rest(t);
    terminal_type(t, " ");
    WAIT(t, "30.00 x 20.00 x 10.00 mm");
    terminal_key(t, TERMINAL_ESCAPE);
    terminal_rest(t);
    ck_assert(!terminal_shows(t, "30.00 x 20.00 x 10.00 mm"));
    terminal_free(t);
}
END_TEST

Suite *suite_screen_points(void)
{
    Suite *suite = suite_create("screen_points");
    TCase *tests = tcase_create("screen_points");
    tcase_set_timeout(tests, 90);
    tcase_add_checked_fixture(tests, screens_set_up, screens_tear_down);
    tcase_add_test(tests, points_are_taken_back);
    tcase_add_test(tests, points_go_into_the_line);
    tcase_add_test(tests, escape_goes_back_one_step_at_a_time);
    tcase_add_test(tests, escape_puts_panels_away);
    suite_add_tcase(suite, tests);
    return suite;
}
