/* What the language says to somebody who mistypes. */
#include <check.h>
#include <stdlib.h>
#include <string.h>

#include "core/job.h"
#include "op/op.h"

static const struct {
    const char *line, *part; /* of the message */
} mistakes[] = {
    {"frobnicate", "\"frobnicate\": no such operation"},
    {"opne a.stl", "did you mean open?"},
    {"open", "file is missing; it is: open FILE"},
    {"open a.stl b.stl", "\"b.stl\": one word too many"},
    {"open a.stl untt=mm", "did you mean unit=?"},
    {"open a.stl colour=red", "open has no such parameter"},
    {"open a.stl unit=furlong", "unit=furlong must be mm, cm, m, in, ft or um"},
    {"open a.stl unit=mm unit=cm", "given twice"},
    {"open \"a.stl", "not closed"},
    {"save a.stl ascii", "ascii=..."},
    {"unit=mm", "begins with an operation"},
};

START_TEST(mistakes_are_told_with_the_mend)
{
    struct job job;
    job_init(&job);
    struct step step;
    ck_assert_int_eq(step_parse(mistakes[_i].line, &step, &job), STATUS_USAGE);
    ck_assert_msg(strstr(job.message, mistakes[_i].part), "message: %s", job.message);
    job_release(&job);
}
END_TEST

START_TEST(home_is_understood_in_paths)
{
    struct step step;
    setenv("HOME", "/home/of somebody", 1);
    ck_assert_int_eq(step_parse("open ~/gate.stl unit=in", &step, NULL), STATUS_OK);
    ck_assert_str_eq(step.value[0].text, "/home/of somebody/gate.stl");
    char *text = step_text(&step);
    ck_assert_str_eq(text, "open \"/home/of somebody/gate.stl\" unit=in");
    free(text);
    step_release(&step);
    ck_assert_int_eq(step_parse("open \"~/gate.stl\"", &step, NULL), STATUS_OK);
    ck_assert_str_eq(step.value[0].text, "~/gate.stl");
    step_release(&step);
}
END_TEST

Suite *suite_mistakes(void);

Suite *suite_mistakes(void)
{
    Suite *suite = suite_create("mistakes");
    TCase *tests = tcase_create("mistakes");
    tcase_add_loop_test(tests, mistakes_are_told_with_the_mend, 0,
                        (int)(sizeof mistakes / sizeof *mistakes));
    tcase_add_test(tests, home_is_understood_in_paths);
    suite_add_tcase(suite, tests);
    return suite;
}
