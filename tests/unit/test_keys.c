/* The tables of the screen: every key means one thing, every row is helped. */
#include <check.h>
#include <curses.h>
#include <string.h>

#include "tui/acts.h"
#include "tui/keys.h"

static bool meet(const struct act *a, const struct act *b) /* both can be meant at one place */
{
    return a->where == b->where || a->where == WHERE_ALWAYS || b->where == WHERE_ALWAYS;
}

START_TEST(keys_mean_one_thing)
{
    for (size_t i = 0; act_row(i); i++)
        for (size_t j = i + 1; act_row(j); j++) {
            const struct act *a = act_row(i), *b = act_row(j);
            bool same = a->key == b->key || (a->other && (a->other == b->key || a->other == b->other)) ||
                        a->key == b->other;
            ck_assert_msg(!same || !meet(a, b), "%s and %s have the same key", a->name, b->name);
        }
}
END_TEST

START_TEST(operations_keys_are_free)
{
    for (size_t i = 0; op_row(i); i++) {
        const struct op *op = op_row(i);
        if (!op->key)
            continue;
        ck_assert_uint_eq(strlen(op->key), 1);
        const struct act *act = act_for(WHERE_LOOK, op->key[0]);
        ck_assert_msg(!act, "%s has the key of %s", op->name, act ? act->name : "");
        for (size_t j = i + 1; op_row(j); j++)
            ck_assert_msg(!op_row(j)->key || op_row(j)->key[0] != op->key[0], "%s and %s have the same key",
                          op->name, op_row(j)->name);
    }
}
END_TEST

START_TEST(rows_are_helped)
{
    for (size_t i = 0; act_row(i); i++) {
        char text[32];
        ck_assert_uint_gt(strlen(act_row(i)->help), 4);
        ck_assert_uint_le(strlen(act_row(i)->help), 68);
        key_text(act_row(i)->key, text, sizeof text);
        ck_assert_msg(act_row(i)->key == '?' || strcmp(text, "?") != 0, "%s: its key has no name", act_row(i)->name);
    }
}
END_TEST

Suite *suite_keys(void);
Suite *suite_keys(void)
{
    Suite *suite = suite_create("keys");
    TCase *tests = tcase_create("keys");
    tcase_add_test(tests, keys_mean_one_thing);
    tcase_add_test(tests, operations_keys_are_free);
    tcase_add_test(tests, rows_are_helped);
    suite_add_tcase(suite, tests);
    return suite;
}
