/* Runs all suites, or those named on the command line. */
#include <check.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define SUITE(name) Suite *suite_##name(void);
#include "suites.def"
#undef SUITE

static const struct {
    const char *name;
    Suite *(*make)(void);
} suites[] = {
#define SUITE(name) {#name, suite_##name},
#include "suites.def"
#undef SUITE
};

static int wanted(const char *name, int count, char **names)
{
    for (int i = 1; i < count; i++)
        if (strcmp(names[i], name) == 0)
            return 1;
    return count < 2;
}

int main(int count, char **names)
{
    SRunner *runner = srunner_create(NULL);
    for (size_t i = 0; i < sizeof suites / sizeof *suites; i++)
        if (wanted(suites[i].name, count, names))
            srunner_add_suite(runner, suites[i].make());
    srunner_run_all(runner, CK_ENV);
    int failed = srunner_ntests_failed(runner);
    int run = srunner_ntests_run(runner);
    srunner_free(runner);
    return failed || run == 0 ? EXIT_FAILURE : EXIT_SUCCESS;
}
