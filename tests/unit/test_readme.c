/* The README's tables are those of the program. */
#include <check.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "tests/support/folder.h"
#include "tests/support/program.h"

START_TEST(tables_are_those_of_the_program)
{
    static const char mark[] = "<!-- fettle ";
    size_t size;
    char *readme = folder_read("README.md", &size);
    ck_assert_msg(readme != NULL, "README.md is not here; run the tests from the top of the project");
    int tables = 0;
    for (const char *at = readme; (at = strstr(at, mark)); tables++) {
        const char *words = at + strlen(mark), *end = strstr(words, " -->");
        const char *close = strstr(at, "<!-- end -->");
        ck_assert(end && close);
        char line[256];
        snprintf(line, sizeof line, "%.*s", (int)(end - words), words);
        struct ran ran = program_run(line, NULL, 0);
        ck_assert_int_eq(ran.status, 0);
        char *block = malloc(ran.out_size + 16);
        sprintf(block, "\n```\n%s```\n", ran.out);
        const char *body = end + strlen(" -->");
        ck_assert_msg(strlen(block) == (size_t)(close - body) && strncmp(body, block, strlen(block)) == 0,
                      "the table of \"fettle %s\" is not the program's; make readme", line);
        program_release(&ran);
        free(block);
        at = close;
    }
    ck_assert_int_ge(tables, 4);
    free(readme);
}
END_TEST

Suite *suite_readme(void);

Suite *suite_readme(void)
{
    Suite *suite = suite_create("readme");
    TCase *tests = tcase_create("readme");
    tcase_add_test(tests, tables_are_those_of_the_program);
    suite_add_tcase(suite, tests);
    return suite;
}
