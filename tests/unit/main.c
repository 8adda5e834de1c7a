/* Runs all suites, or those named on the command line. */
#include <check.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "tests/unit/beside.h"

#define SUITE(name) Suite *suite_##name(void);
#include "suites.def"
#undef SUITE

static const struct suite_row suites[] = {
#define SUITE(name) {#name, suite_##name},
#include "suites.def"
#undef SUITE
};

enum { SUITES = sizeof suites / sizeof *suites };

static int wanted(const char *name, int count, char **names)
{
    for (int i = 1; i < count; i++)
        if (strcmp(names[i], name) == 0)
            return 1;
    return count < 2;
}

static int run_here(const struct suite_row *const *row, size_t count)
{
    SRunner *runner = srunner_create(NULL);
    for (size_t i = 0; i < count; i++)
        srunner_add_suite(runner, row[i]->make());
    srunner_run_all(runner, CK_ENV);
    int failed = srunner_ntests_failed(runner);
    int run = srunner_ntests_run(runner);
    srunner_free(runner);
    return failed || run == 0 ? EXIT_FAILURE : EXIT_SUCCESS;
}

int main(int count, char **names)
{
    const struct suite_row *row[SUITES];
    size_t rows = 0;
    for (size_t i = 0; i < SUITES; i++)
        if (wanted(suites[i].name, count, names))
            row[rows++] = &suites[i];
    int runners = beside_runners(rows);
    beside_patience(runners);
    setenv("CK_MAX_MSG_SIZE", "65536", 0); /* a failure shows a whole screen */
    return runners > 1 ? beside_run(row, rows, runners) : run_here(row, rows);
}
