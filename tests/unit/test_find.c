/* Looking something up in the help. */
#include <check.h>
#include <stdlib.h>
#include <string.h>

#include "op/op.h"
#include "tui/find.h"
#include "tui/manual.h"

Suite *suite_find(void);

static const char text[] = "TOOLS: keys\n"
                           "  x   outliers  drop stray points\n"
                           "  B   bore      a round hole for a\n"
                           "                screw\n"
                           "\n"
                           "VIEW\n"
                           "  +   nearer    come nearer\n"
                           "prose that goes\n"
                           "on here\n";

static const struct {
    const char *words, *found;
} looked_for[] = {
    {"screw", "TOOLS: keys\n  B   bore      a round hole for a\n                screw\n"},
    {"HOLE round", "TOOLS: keys\n  B   bore      a round hole for a\n                screw\n"},
    {"x", "TOOLS: keys\n  x   outliers  drop stray points\n"}, /* the key, no letter of a word */
    {"ne", "VIEW\n  +   nearer    come nearer\n"},
    {"view", "VIEW\n  +   nearer    come nearer\n"}, /* a heading brings what is below it */
    {"goes on", "prose that goes\non here\n"},
    {"e", ""}, /* letters of words, but none alone */
    {"screw nearer", ""},
    {"  ", "TOOLS: keys\n"
           "  x   outliers  drop stray points\n"
           "  B   bore      a round hole for a\n"
           "                screw\n"
           "\n"
           "VIEW\n"
           "  +   nearer    come nearer\n"
           "\n"
           "prose that goes\n"
           "on here\n"}, /* nothing is asked for: all of it */
};

START_TEST(entries_are_found)
{
    char *found = find_entries(text, looked_for[_i].words);
    ck_assert_ptr_nonnull(found);
    ck_assert_str_eq(found, looked_for[_i].found);
    free(found);
}
END_TEST

/* Of the real help: every operation is found by its name, under its heading, and by its help. */
START_TEST(every_operation_is_found)
{
    char *help = NULL;
    size_t size;
    FILE *out = open_memstream(&help, &size);
    manual_keys(out);
    fclose(out);
    for (size_t i = 0; op_row(i); i++) {
        const char *const by[] = {op_row(i)->name, op_row(i)->help};
        for (int k = 0; k < 2; k++) {
            char *found = find_entries(help, by[k]);
            ck_assert_msg(strncmp(found, "OPERATIONS: ", 12) == 0 && strstr(found, op_row(i)->name),
                          "\"%s\" finds:\n%s", by[k], found);
            free(found);
        }
    }
    free(help);
}
END_TEST

Suite *suite_find(void)
{
    Suite *suite = suite_create("find");
    TCase *tests = tcase_create("find");
    tcase_add_loop_test(tests, entries_are_found, 0, sizeof looked_for / sizeof *looked_for);
    tcase_add_test(tests, every_operation_is_found);
    suite_add_tcase(suite, tests);
    return suite;
}
