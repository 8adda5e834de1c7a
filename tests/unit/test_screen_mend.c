/* From what is wrong to what mends it, and from a word to the key: what the screen offers by
 * itself. */
#include <check.h>
#include <stdlib.h>
#include <string.h>

#include "tests/support/folder.h"
#include "tests/support/screens.h"
#include "tests/support/shapes.h"

#define WAIT TERMINAL_WAIT

Suite *suite_screen_mend(void);

static struct terminal *begin_ball(void)
{
    struct terminal *t = screens_begin(24, 80, (const char *const[]){"ball.stl", NULL});
    WAIT(t, "faulty");
    terminal_rest(t);
    return t;
}

/* The fault is told with what mends it; the key puts that into the prompt, with the place; and
 * after it the walk goes on where it was. */
START_TEST(a_fault_offers_what_mends_it)
{
    struct terminal *t = begin_ball();
    terminal_type(t, "n");
    WAIT(t, "\"fill\" closes holes");
    WAIT(t, "! fill  arrows turn");
    terminal_type(t, "nn");
    WAIT(t, "Holes 3 of 5");
    terminal_rest(t);
    ck_assert(!terminal_shows(t, "closes holes")); /* said once a kind */
    terminal_type(t, "!");
    WAIT(t, ":fill at=");
    WAIT(t, "longest=0 shape=smooth");
    terminal_type(t, "\r");
    WAIT(t, "1 hole filled");
    WAIT(t, "! Holes                  4");
    terminal_rest(t);
    terminal_type(t, "n");
    WAIT(t, "Holes 3 of 4");
    terminal_key(t, TERMINAL_ESCAPE);
    terminal_rest(t);
    ck_assert(!terminal_shows(t, "! fill"));
    terminal_type(t, "!"); /* nothing is looked at: the first fault */
    WAIT(t, ":fill at=");
    terminal_free(t);
}
END_TEST

/* Of several pieces the one that the fault is in is named. */
START_TEST(the_piece_of_the_fault_is_named)
{
    struct terminal *t = screens_begin(24, 80, (const char *const[]){"box.stl", "ball.stl", NULL});
    WAIT(t, "faulty: 1 of 2 pieces");
    WAIT(t, "1 none");
    WAIT(t, "2 ! Holes");
    terminal_rest(t);
    terminal_type(t, "n!");
    WAIT(t, "piece=2 longest=0");
    terminal_type(t, "\r");
    WAIT(t, "1 hole filled");
    terminal_free(t);
}
END_TEST

/* A click on a finding goes to it. */
START_TEST(findings_are_clicked)
{
    struct terminal *t = begin_ball();
    int row = 1;
    while (row < 22 && !strstr(terminal_line(t, row), "! Holes"))
        row++;
    terminal_click(t, row, 60);
    WAIT(t, "Holes 1 of 5");
    terminal_free(t);
}
END_TEST

/* The help is searched as one types; a word that is no operation is looked up in it. */
START_TEST(the_help_is_searched)
{
    struct terminal *t = screens_begin_box();
    terminal_type(t, "?");
    WAIT(t, "type a word: find");
    terminal_type(t, "countersunk");
    WAIT(t, "find: countersunk");
    terminal_rest(t);
    ck_assert(terminal_shows(t, "  B   bore"));
    ck_assert(!terminal_shows(t, "  o   open"));
    terminal_type(t, "q");
    WAIT(t, "nothing has it");
    terminal_type(t, "\177");
    WAIT(t, "  B   bore");
    terminal_key(t, TERMINAL_ESCAPE);
    WAIT(t, "  o   open");
    terminal_key(t, TERMINAL_ESCAPE);
    WAIT(t, "arrows turn");
    terminal_type(t, ":help keyhole slots\r");
    WAIT(t, "find: keyhole slots");
    terminal_type(t, "\033\033:help gargoyle\r");
    WAIT(t, "no key has to do with it");
    terminal_free(t);
}
END_TEST

/* While its line is typed a click says anew where the hole goes, and the wheel comes nearer. */
START_TEST(a_click_moves_what_is_not_made_yet)
{
    struct terminal *t = screens_begin_box();
    terminal_type(t, "/");
    terminal_rest(t);
    terminal_type(t, "B");
    WAIT(t, "bore: pointing at");
    terminal_click(t, 11, 25);
    WAIT(t, ":bore at=@");
    WAIT(t, "a hole of 4.5 mm");
    terminal_click(t, 11, 2);
    WAIT(t, "hang over an edge");
    terminal_click(t, 11, 35);
    WAIT(t, "a hole of 4.5 mm");
    terminal_click(t, 21, 35); /* words lie over that */
    terminal_wheel(t, 11, 25, true, 1);
    terminal_rest(t);
    terminal_type(t, "\r");
    WAIT(t, "> bore 2"); /* x of 20 and more: the third click */
    WAIT(t, "box: a hole of 4.5 mm (ISO 273");
    terminal_click(t, 21, 20); /* on what was told above the last line: it goes, and no more */
    TERMINAL_GONE(t, "box: a hole of 4.5 mm (ISO 273");
    terminal_rest(t);
    ck_assert(terminal_shows(t, "measured back"));
    terminal_free(t);
}
END_TEST

START_TEST(nothing_open_offers_no_tools)
{
    struct terminal *t = screens_begin_box();
    terminal_type(t, "u");
    WAIT(t, "redo what was undone");
    terminal_type(t, "B");
    WAIT(t, "nothing is open; :open FILE");
    WAIT(t, "arrows turn");
    terminal_type(t, "r");
    WAIT(t, "sound");
    terminal_free(t);
}
END_TEST

/* While it is seen what would be made, what else can be told still stands there, once. */
START_TEST(what_else_can_be_told_is_listed)
{
    struct terminal *t = screens_begin_box();
    terminal_type(t, ":shell ");
    WAIT(t, "from the old one (must be given)");
    terminal_type(t, "\025bore at=15,10,10 screw=M3");
    WAIT(t, "a hole of 3.4 mm");
    WAIT(t, "also: along= fit= head=");
    terminal_free(t);
}
END_TEST

/* What is out of sight is listed briefly where the list would be long. */
START_TEST(what_is_hidden_takes_little_room)
{
    enum { BOXES = 8 };
    const char *files[BOXES + 1] = {NULL};
    for (int i = 0; i < BOXES; i++)
        files[i] = "box.stl";
    struct terminal *t = screens_begin(24, 80, files);
    WAIT(t, "all 8 pieces");
    terminal_rest(t);
    terminal_type(t, ":hide 2\r:hide 3\r:hide 4\r");
    WAIT(t, " 2-4                hidden");
    terminal_type(t, "\t\t\t");
    WAIT(t, "piece 3 of 8");
    WAIT(t, " 3  box");
    terminal_free(t);
}
END_TEST

Suite *suite_screen_mend(void)
{
    Suite *suite = suite_create("screen_mend");
    TCase *tests = tcase_create("screen_mend");
    tcase_set_timeout(tests, 90);
    tcase_add_checked_fixture(tests, screens_set_up, screens_tear_down);
    tcase_add_test(tests, a_fault_offers_what_mends_it);
    tcase_add_test(tests, the_piece_of_the_fault_is_named);
    tcase_add_test(tests, findings_are_clicked);
    tcase_add_test(tests, the_help_is_searched);
    tcase_add_test(tests, a_click_moves_what_is_not_made_yet);
    tcase_add_test(tests, nothing_open_offers_no_tools);
    tcase_add_test(tests, what_else_can_be_told_is_listed);
    tcase_add_test(tests, what_is_hidden_takes_little_room);
    suite_add_tcase(suite, tests);
    return suite;
}
