/* Suites run side by side: what is printed, what counts, and that no runner's end is taken for a
 * pass. */
#include <check.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "tests/unit/beside.h"

/* --- suites to run ---------------------------------------------------------------------------- */

START_TEST(passes)
{
    printf("printed by %d\n", _i);
    fflush(stdout);
}
END_TEST

START_TEST(passes_late)
{
    usleep(300000);
}
END_TEST

START_TEST(fails)
{
    ck_assert_int_eq(_i, 1);
}
END_TEST

START_TEST(crashes)
{
    abort();
}
END_TEST

START_TEST(ends_its_runner)
{
    kill(getppid(), SIGKILL);
}
END_TEST

static Suite *suite_of(const TTest *test, int times)
{
    Suite *suite = suite_create("made up");
    TCase *tests = tcase_create("made up");
    tcase_add_loop_test(tests, test, 0, times);
    suite_add_tcase(suite, tests);
    return suite;
}

static Suite *three_pass(void)
{
    return suite_of(passes, 3);
}

static Suite *one_passes_late(void)
{
    return suite_of(passes_late, 1);
}

static Suite *one_of_two_fails(void)
{
    return suite_of(fails, 2);
}

static Suite *one_crashes(void)
{
    return suite_of(crashes, 1);
}

static Suite *the_runner_is_ended(void)
{
    return suite_of(ends_its_runner, 1);
}

static Suite *nobody_tests(void)
{
    return suite_create("empty");
}

static Suite *the_runner_leaves(void)
{
    exit(EXIT_SUCCESS);
}

static const struct suite_row passing = {"passing", three_pass}, late = {"late", one_passes_late},
                              failing = {"failing", one_of_two_fails},
                              crashing = {"crashing", one_crashes},
                              ended = {"ended", the_runner_is_ended},
                              empty = {"empty", nobody_tests},
                              leaving = {"leaving", the_runner_leaves};

/* --- what comes of them ----------------------------------------------------------------------- */

/* Runs them with standard output in a file; what it holds then. */
static char *told(const struct suite_row *const *row, size_t suites, int runners, int *status)
{
    FILE *file = tmpfile();
    int out = dup(STDOUT_FILENO);
    char *text = calloc(1, 1 << 16);
    unsetenv("FETTLE_LONG"); /* which tells times, too */
    fflush(stdout);
    dup2(fileno(file), STDOUT_FILENO);
    *status = beside_run(row, suites, runners);
    fflush(stdout);
    dup2(out, STDOUT_FILENO);
    close(out);
    rewind(file);
    ck_assert_uint_gt(fread(text, 1, (1 << 16) - 1, file), 0);
    fclose(file);
    return text;
}

START_TEST(all_pass_in_the_order_of_the_rows)
{
    const struct suite_row *const row[] = {&late, &passing, &late};
    int status;
    char *text = told(row, 3, _i, &status);
    ck_assert_int_eq(status, 0);
    ck_assert_str_eq(text, "Running suite(s): late\n passing\nprinted by 0\nprinted by 1\n"
                           "printed by 2\n late\n100%: Checks: 5, Failures: 0, Errors: 0\n");
    free(text);
}
END_TEST

START_TEST(failures_are_told_before_the_last_line)
{
    const struct suite_row *const row[] = {&failing, &crashing, &late, &passing, &passing, &late};
    int status;
    char *text = told(row, 6, 2, &status);
    ck_assert_int_eq(status, 1);
    static const char last[] = "81%: Checks: 11, Failures: 1, Errors: 1\n";
    char *failure = strstr(text, ":F:made up:fails:0: Assertion '_i == 1' failed");
    char *error = strstr(text, ":E:made up:crashes:0:");
    ck_assert(failure && error && failure < error && error < strstr(text, last));
    ck_assert_ptr_null(strstr(failure + 1, ":F:")); /* told once, whatever is forked later */
    ck_assert_str_eq(text + strlen(text) - strlen(last), last);
    free(text);
}
END_TEST

START_TEST(a_runner_that_ends_early_is_an_error)
{
    const struct suite_row *const row[] = {&passing, _i ? &leaving : &ended, &late};
    int status;
    char *text = told(row, 3, 2, &status);
    ck_assert_int_eq(status, 1);
    ck_assert_ptr_nonnull(
        strstr(text, _i ? "test_leaving.c: E: its runner ended before its tests did"
                        : "test_ended.c: E: its runner was ended by signal 9"));
    ck_assert_ptr_nonnull(strstr(text, "\n80%: Checks: 5, Failures: 0, Errors: 1\n"));
    free(text);
}
END_TEST

START_TEST(no_tests_are_no_pass)
{
    const struct suite_row *const row[] = {&empty, &empty};
    int status;
    free(told(row, 2, 2, &status));
    ck_assert_int_eq(status, 1);
}
END_TEST

START_TEST(one_core_or_one_suite_is_one_runner)
{
    ck_assert_int_eq(setenv("FETTLE_RUNNERS", "3", 1), 0);
    ck_assert_int_eq(beside_runners(9), 3);
    ck_assert_int_eq(beside_runners(2), 2);
    setenv("FETTLE_RUNNERS", "1", 1);
    ck_assert_int_eq(beside_runners(9), 1);
    unsetenv("FETTLE_RUNNERS");
    ck_assert_int_eq(beside_runners(1), 1);
    ck_assert_int_le(beside_runners(99), (int)sysconf(_SC_NPROCESSORS_ONLN));
    setenv("CK_FORK", "no", 1);
    ck_assert_int_eq(beside_runners(9), 1);
}
END_TEST

Suite *suite_beside(void);

Suite *suite_beside(void)
{
    Suite *suite = suite_create("beside");
    TCase *tests = tcase_create("beside");
    tcase_set_timeout(tests, 60);
    tcase_add_loop_test(tests, all_pass_in_the_order_of_the_rows, 1, 4);
    tcase_add_test(tests, failures_are_told_before_the_last_line);
    tcase_add_loop_test(tests, a_runner_that_ends_early_is_an_error, 0, 2);
    tcase_add_test(tests, no_tests_are_no_pass);
    tcase_add_test(tests, one_core_or_one_suite_is_one_runner);
    suite_add_tcase(suite, tests);
    return suite;
}
