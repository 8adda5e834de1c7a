/* The language: numbers, words, values, and every row of the table of operations. */
#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "core/job.h"
#include "op/near.h"
#include "op/number.h"
#include "op/op.h"
#include "op/value.h"
#include "op/words.h"
#include "tests/support/shapes.h"

/* --- numbers -------------------------------------------------------------------------------- */

static const struct {
    const char *text;
    int shift;
    size_t taken;
    double number;
} reads[] = {
    {"5", 0, 1, 5},       {"-0.25mm", 0, 5, -0.25}, {".5", 0, 2, 0.5},    {"5.", 0, 2, 5},
    {"1e3", 0, 3, 1000},  {"1em", 0, 1, 1},         {"2e+2x", 0, 4, 200}, {"+7", 0, 2, 7},
    {"10%", -2, 2, 0.10}, {"0.1%", -2, 3, 0.001},   {"1e2%", -2, 3, 1},   {"", 0, 0, 0},
    {"nan", 0, 0, 0},     {"inf", 0, 0, 0},         {"0x10", 0, 1, 0},    {"-", 0, 0, 0},
    {".", 0, 0, 0},       {"1e999", 0, 0, 0},       {"e5", 0, 0, 0},      {"1,5", 0, 1, 1},
};

START_TEST(numbers_are_read)
{
    double number = 0;
    ck_assert_uint_eq(number_read(reads[_i].text, reads[_i].shift, &number), reads[_i].taken);
    if (reads[_i].taken)
        ck_assert_double_eq(number, reads[_i].number);
}
END_TEST

static const struct {
    double number;
    int shift;
    const char *text;
} writes[] = {
    {0, 0, "0"},
    {5, 0, "5"},
    {-0.25, 0, "-0.25"},
    {20000, 0, "20000"},
    {0.1, 0, "0.1"},
    {0.1, 2, "10"},
    {0.015, 2, "1.5"},
    {1e-7, 0, "1e-7"},
    {1e21, 0, "1e21"},
    {1234.5, 0, "1234.5"},
    {-0.0, 0, "0"},
    {1.0 / 3, 0, "0.3333333333333333"},
    {1.25e-9, 0, "1.25e-9"},
};

START_TEST(numbers_are_written)
{
    char text[NUMBER_SIZE];
    number_text(writes[_i].number, writes[_i].shift, text);
    ck_assert_str_eq(text, writes[_i].text);
}
END_TEST

static double any_double(uint64_t *seed)
{
    for (;;) {
        uint64_t bits = (uint64_t)(shape_random(seed) * 4294967296.0) << 32 |
                        (uint64_t)(shape_random(seed) * 4294967296.0);
        double number;
        memcpy(&number, &bits, sizeof number);
        if (isfinite(number) && fabs(number) < 1e300 && (number == 0 || fabs(number) > 1e-300))
            return number;
    }
}

START_TEST(any_number_comes_back_exactly)
{
    uint64_t seed = 1;
    for (int i = 0; i < 200000; i++) {
        double number = any_double(&seed), back = 0;
        int shift = i % 3 ? 0 : 2;
        char text[NUMBER_SIZE];
        number_text(number, shift, text);
        ck_assert_uint_eq(number_read(text, -shift, &back), strlen(text));
        ck_assert_msg(back == number, "%a became %s and %a", number, text, back);
    }
}
END_TEST

/* --- words ---------------------------------------------------------------------------------- */

START_TEST(lines_fall_into_words)
{
    char line[] = "\topen \"my scan.stl\"  a=b c\\d=\"x \\\"y\\\" \\\\\" \"k=v\" p=\"\" end#rest";
    static const char *const key[] = {NULL, NULL, "a", NULL, NULL, "p", NULL};
    static const char *const text[] = {"open", "my scan.stl", "b", "c\\d=x \"y\" \\", "k=v",
                                       "",     "end"};
    char *cursor = line;
    const char *why = NULL;
    struct word word;
    for (int i = 0; i < 7; i++) {
        ck_assert(word_next(&cursor, &word, &why));
        ck_assert_str_eq(word.text, text[i]);
        ck_assert_str_eq(word.key ? word.key : "", key[i] ? key[i] : "");
    }
    ck_assert(!word_next(&cursor, &word, &why));
    ck_assert_ptr_null(why);
}
END_TEST

START_TEST(an_open_quote_is_told)
{
    char line[] = "\"my scan.stl";
    char *cursor = line;
    const char *why = NULL;
    struct word word;
    ck_assert(!word_next(&cursor, &word, &why));
    ck_assert_ptr_nonnull(why);
}
END_TEST

static void any_text(uint64_t *seed, char *out)
{
    static const char alphabet[] = "ab=#\"\\ \n\r\t~/.-\xc3\xa9,%1";
    int n = 1 + (int)(shape_random(seed) * 12);
    for (int i = 0; i < n; i++)
        *out++ = alphabet[(int)(shape_random(seed) * (double)(sizeof alphabet - 1))];
    *out = '\0';
}

START_TEST(any_text_comes_back_quoted)
{
    uint64_t seed = 2;
    for (int i = 0; i < 50000; i++) {
        char text[16], line[64], *cursor = line;
        any_text(&seed, text);
        word_write(line, text);
        ck_assert_ptr_null(strchr(line, '\n'));
        const char *why = NULL;
        struct word word;
        ck_assert(word_next(&cursor, &word, &why));
        ck_assert_ptr_null(word.key);
        ck_assert_str_eq(word.text, text);
        ck_assert_int_eq(*cursor, '\0');
    }
}
END_TEST

START_TEST(slips_are_understood)
{
    static const char *const names[] = {"check", "compare", "draw", "decimate", "smooth", "to"};
    static const struct {
        const char *word, *meant;
    } slips[] = {{"chek", "check"},    {"chcek", "check"},  {"decimat", "decimate"},
                 {"deci", "decimate"}, {"smoth", "smooth"}, {"warp", "draw"},
                 {"gate.stl", NULL},   {"t", NULL},         {"", NULL},
                 {"co", "compare"}};
    for (size_t i = 0; i < sizeof slips / sizeof *slips; i++) {
        struct near near = {0};
        for (size_t j = 0; j < sizeof names / sizeof *names; j++)
            near_try(&near, slips[i].word, names[j]);
        if (strcmp(slips[i].word, "warp") == 0)
            ck_assert_ptr_null(near.name); /* three slips in four letters */
        else if (slips[i].meant)
            ck_assert_str_eq(near.name, slips[i].meant);
        else
            ck_assert_ptr_null(near.name);
    }
}
END_TEST

/* --- values --------------------------------------------------------------------------------- */

#define P(kind, least, most, standard, choices)                                                    \
    {                                                                                              \
        "p", PARAM_##kind, OPTIONAL, standard, least, most, choices, "help"                        \
    }

static const struct {
    struct param param;
    const char *text;
    const char *why; /* part of it; NULL: it is understood */
    double number;
    bool share;
} values[] = {
    {P(FLAG, 0, 0, NULL, NULL), "yes", NULL, 1, false},
    {P(FLAG, 0, 0, NULL, NULL), "no", NULL, 0, false},
    {P(FLAG, 0, 0, NULL, NULL), "maybe", "yes or no", 0, false},
    {P(COUNT, 1, 100, NULL, NULL), "100", NULL, 100, false},
    {P(COUNT, 1, 100, NULL, NULL), "2.5", "whole number", 0, false},
    {P(COUNT, 1, 100, NULL, NULL), "0", "from 1 to 100", 0, false},
    {P(COUNT, 0, INFINITY, NULL, NULL), "-1", "at least 0", 0, false},
    {P(NUMBER, 0, 0, NULL, NULL), "-2.5", NULL, -2.5, false},
    {P(NUMBER, 0, 0, NULL, NULL), "2,5", "such as 2.5", 0, false},
    {P(NUMBER, 0, 0, "auto", NULL), "auto", NULL, 0, false},
    {P(LENGTH, 0, 0, NULL, NULL), "5", NULL, 5, false},
    {P(LENGTH, 0, 0, NULL, NULL), "5mm", NULL, 5, false},
    {P(LENGTH, 0, 0, NULL, NULL), "2in", NULL, 50.8, false},
    {P(LENGTH, 0, 0, NULL, NULL), "1.5m", NULL, 1500, false},
    {P(LENGTH, 0, 0, NULL, NULL), "3cm", NULL, 30, false},
    {P(LENGTH, 0, 0, NULL, NULL), "2ft", NULL, 609.6, false},
    {P(LENGTH, 0, 0, NULL, NULL), "250um", NULL, 0.25, false},
    {P(LENGTH, 0, 0, NULL, NULL), "5 mm", "such as 5mm", 0, false},
    {P(LENGTH, 0, 0, NULL, NULL), "5miles", "such as 5mm", 0, false},
    {P(LENGTH, 0, 10, NULL, NULL), "2cm", "from 0 mm to 10 mm", 0, false},
    {P(ANGLE, -360, 360, NULL, NULL), "30deg", NULL, 30, false},
    {P(ANGLE, -360, 360, NULL, NULL), "361", "from -360 deg to 360 deg", 0, false},
    {P(SHARE, 0, 1, NULL, NULL), "10%", NULL, 0.10, true},
    {P(SHARE, 0, 1, NULL, NULL), "0.1", "such as 10%", 0, false},
    {P(SHARE, 0.001, 1, NULL, NULL), "101%", "from 0.1% to 100%", 0, false},
    {P(SIZE, 0, 1e6, NULL, NULL), "1%", NULL, 0.01, true},
    {P(SIZE, 0, 1e6, NULL, NULL), "5mm", NULL, 5, false},
    {P(SIZE, 0, 1e6, NULL, NULL), "150%", "from 0% to 100%", 0, false},
    {P(PIECE, 0, 0, NULL, NULL), "all", NULL, 0, false},
    {P(PIECE, 0, 0, NULL, NULL), "3", NULL, 3, false},
    {P(PIECE, 0, 0, NULL, NULL), "0", "from 1, or all", 0, false},
    {P(CHOICE, 0, 0, NULL, "flat smooth sharp"), "smooth", NULL, 1, false},
    {P(CHOICE, 0, 0, NULL, "flat smooth sharp"), "smoot", "flat, smooth or sharp", 0, false},
    {P(CHOICE, 0, 0, NULL, "flat smooth"), "flat smooth", "flat or smooth", 0, false},
    {P(VEC, 0, 0, NULL, NULL), "1,2", "x,y,z", 0, false},
    {P(VEC, 0, 0, NULL, NULL), "1,2,3,4", "x,y,z", 0, false},
    {P(DIRECTION, 0, 0, NULL, NULL), "0,0,0", "direction", 0, false},
    {P(DIRECTION, 0, 0, NULL, NULL), "1mm,0,0", "direction", 0, false},
    {P(DIRECTION, 0, 0, NULL, NULL), "w", "direction", 0, false},
    {P(PATH, 0, 0, NULL, NULL), "", "empty", 0, false},
};

START_TEST(values_are_read)
{
    struct value value;
    char why[WHY_SIZE] = "";
    bool ok = value_read(&values[_i].param, values[_i].text, &value, why);
    if (values[_i].why) {
        ck_assert(!ok);
        ck_assert_msg(strstr(why, values[_i].why), "why: %s", why);
        return;
    }
    ck_assert_msg(ok, "why: %s", why);
    ck_assert_double_eq_tol(value.number, values[_i].number,
                            1e-300 + 1e-12 * fabs(values[_i].number));
    ck_assert_int_eq(value.share, values[_i].share);
    ck_assert_int_eq(value.given, strcmp(values[_i].text, "auto") != 0);
}
END_TEST

START_TEST(places_and_directions_are_read)
{
    static const struct param vec = P(VEC, 0, 0, NULL, NULL), way = P(DIRECTION, 0, 0, NULL, NULL),
                              box = P(BOX, 1, 1000, NULL, NULL);
    struct value value;
    char why[WHY_SIZE];
    ck_assert(value_read(&vec, "1in,-2,0.5cm", &value, why));
    ck_assert_double_eq(value.vec[0], 25.4);
    ck_assert_double_eq(value.vec[1], -2);
    ck_assert_double_eq(value.vec[2], 5);
    ck_assert(value_read(&way, "-y", &value, why));
    ck_assert_double_eq(value.vec[0], 0);
    ck_assert_double_eq(value.vec[1], -1);
    ck_assert(value_read(&way, "0,0.5,1", &value, why));
    ck_assert_double_eq(value.vec[1], 0.5);
    ck_assert(value_read(&box, "220x22cmx2in", &value, why));
    ck_assert_double_eq(value.vec[0], 220);
    ck_assert_double_eq(value.vec[1], 220);
    ck_assert_double_eq(value.vec[2], 50.8);
    static const char *const wrong[] = {"220x220",   "1x2x3x4", "1,2,3",  "0x10x10",
                                        "1x2x-3",    "axbxc",   "1x2x3k", "1xx3",
                                        "1x2x3000mm"};
    for (size_t i = 0; i < sizeof wrong / sizeof *wrong; i++)
        ck_assert_msg(!value_read(&box, wrong[i], &value, why), "%s", wrong[i]);
}
END_TEST

/* --- rows ----------------------------------------------------------------------------------- */

static size_t rows(void)
{
    size_t n = 0;
    while (op_row(n))
        n++;
    return n;
}

static bool filled(const char *text)
{
    return text && *text;
}

START_TEST(rows_are_named_helped_and_unique)
{
    const char *keys[256] = {0};
    for (size_t i = 0; i < rows(); i++) {
        const struct op *op = op_row(i);
        ck_assert(filled(op->name) && filled(op->title) && filled(op->help) && filled(op->manual));
        ck_assert_msg(!op->changes || filled(op->undo), "%s has no undo label", op->name);
        ck_assert_ptr_eq(op_named(op->name, strlen(op->name)), op);
        ck_assert_msg(strlen(op->help) <= 66, "%s: the help does not fit a line", op->name);
        ck_assert_msg(op->run, "%s does nothing", op->name);
        if (op->key) {
            unsigned char key = (unsigned char)op->key[0];
            ck_assert_msg(!keys[key], "key %s: %s and %s", op->key, op->name, keys[key]);
            keys[key] = op->name;
        }
        char *usage = op_usage(op);
        ck_assert(filled(usage));
        free(usage);
    }
}
END_TEST

/* Each example is a line of its operation, once points stand for "@" and "@2". */
START_TEST(examples_are_lines_that_parse)
{
    for (size_t i = 0; i < rows(); i++) {
        const struct op *op = op_row(i);
        char line[256] = "";
        ck_assert_msg(filled(op->example), "%s has no example", op->name);
        for (const char *p = op->example; *p; p++) {
            bool point = *p == '@';
            if (point && p[1] >= '1' && p[1] <= '9')
                p++;
            snprintf(line + strlen(line), sizeof line - strlen(line), point ? "1,2,3" : "%c", *p);
        }
        struct step step;
        struct job job;
        job_init(&job);
        ck_assert_msg(step_parse(line, &step, &job) == STATUS_OK, "%s: %s", line, job.message);
        ck_assert_ptr_eq(step.op, op);
        step_release(&step);
        job_release(&job);
    }
}
END_TEST

START_TEST(parameters_are_helped_and_their_defaults_hold)
{
    for (size_t i = 0; i < rows(); i++) {
        const struct param *param = op_row(i)->params;
        for (size_t j = 0; param && param[j].name; j++) {
            struct value value;
            char why[WHY_SIZE] = "";
            ck_assert_msg(filled(param[j].help), "%s %s", op_row(i)->name, param[j].name);
            for (size_t k = 0; k < j; k++)
                ck_assert_str_ne(param[j].name, param[k].name);
            if (param[j].kind == PARAM_CHOICE)
                ck_assert(filled(param[j].choices));
            if (param[j].standard)
                ck_assert_msg(value_read(&param[j], param[j].standard, &value, why), "%s %s %s",
                              op_row(i)->name, param[j].name, why);
            ck_assert_double_le(param[j].least, param[j].most);
        }
    }
}
END_TEST

static double within(const struct param *param, uint64_t *seed)
{
    double least = fmax(param->least, -1e6), most = fmin(param->most, 1e6);
    if (param->least == 0 && param->most == 0)
        least = -1000, most = 1000;
    return least + (most - least) * shape_random(seed);
}

static void any_value(const struct param *param, uint64_t *seed, struct value *value, char *text)
{
    *value = (struct value){.given = true, .typed = true, .text = ""};
    value->number = within(param, seed);
    if (param->kind == PARAM_COUNT)
        value->number = ceil(value->number);
    if (param->kind == PARAM_PIECE)
        value->number = floor(4 * shape_random(seed));
    value->share =
        param->kind == PARAM_SHARE || (param->kind == PARAM_SIZE && shape_random(seed) < 0.5);
    if (value->share && param->kind == PARAM_SIZE)
        value->number = shape_random(seed);
    for (int k = 0; k < 3; k++)
        value->vec[k] = within(param, seed);
    int choices = param->kind == PARAM_FLAG;
    for (const char *c = param->choices; c && *c; c++)
        choices += *c == ' ';
    if (param->kind == PARAM_FLAG || param->kind == PARAM_CHOICE)
        value->number = value->choice = (int)(shape_random(seed) * (choices + 1));
    if (param->kind == PARAM_PATH || param->kind == PARAM_TEXT) {
        any_text(seed, text);
        value->text = text;
    }
    if (param->kind == PARAM_PAIRS) {
        sprintf(text, "%.9g,0,1:2,3,%.9g;1in,2,3:4,5,6", within(param, seed), within(param, seed));
        value->text = text;
    }
    if (param->kind == PARAM_PLACES) {
        sprintf(text, "%.9g,0,1;1in,2,%.9g", within(param, seed), within(param, seed));
        value->text = text;
    }
}

static void same_value(const struct param *param, const struct value *a, const struct value *b)
{
    ck_assert_int_eq(a->typed, b->typed);
    if (!a->typed)
        return;
    ck_assert_str_eq(a->text, b->text);
    ck_assert_int_eq(a->share, b->share);
    if (param->kind == PARAM_VEC || param->kind == PARAM_PLACE ||
        param->kind == PARAM_DIRECTION || param->kind == PARAM_BOX)
        ck_assert_mem_eq(a->vec, b->vec, sizeof a->vec);
    else if (param->kind != PARAM_PATH && param->kind != PARAM_TEXT && param->kind != PARAM_PAIRS &&
             param->kind != PARAM_PLACES)
        ck_assert_double_eq(a->number, b->number);
    ck_assert_int_eq(a->choice, b->choice);
}

static void round_trip(const struct op *op, uint64_t *seed)
{
    enum { MOST = 24 };
    struct value value[MOST] = {0};
    char text[MOST][16];
    size_t n = 0;
    for (; op->params && op->params[n].name; n++) {
        bool must = op->params[n].need == REQUIRED || op->params[n].need == REQUIRED_POSITIONAL;
        ck_assert_uint_lt(n, MOST);
        value[n].text = "";
        if (must || shape_random(seed) < 0.5)
            any_value(&op->params[n], seed, &value[n], text[n]);
    }
    struct step step = {op, value, NULL}, back;
    struct job job;
    job_init(&job);
    char *line = step_text(&step);
    ck_assert_msg(step_parse(line, &back, &job) == STATUS_OK, "%s: %s", line, job.message);
    ck_assert_ptr_eq(back.op, op);
    for (size_t i = 0; i < n; i++)
        same_value(&op->params[i], &value[i], &back.value[i]);
    char *again = step_text(&back);
    ck_assert_str_eq(line, again);
    free(again);
    free(line);
    step_release(&back);
    job_release(&job);
}

START_TEST(any_step_comes_back_from_its_text)
{
    uint64_t seed = 3;
    for (size_t i = 0; i < rows(); i++)
        for (int j = 0; j < 500; j++)
            round_trip(op_row(i), &seed);
}
END_TEST

/* Lines of pieces of the language and of rubbish: whatever is understood comes back the same. */
START_TEST(no_line_is_too_strange)
{
    static const char *const bits[] = {"open", "save", "piece", "=",   " ",    "\"", "\\", "1",
                                       "-",    ".",    "e9",    "%",   "mm",   ",",  "#",  "~/",
                                       "unit", "all",  "yes",   "\t",  "\xff", "x",  "to", "normal",
                                       "\r",   "file", "0",     "inf", "nan",  "=="};
    uint64_t seed = 4;
    int understood = 0;
    for (int i = 0; i < 100000; i++) {
        char line[256] = "";
        const struct op *op = op_row((size_t)(shape_random(&seed) * (double)rows()));
        strcat(line, op->name);
        int n = (int)(shape_random(&seed) * 14);
        for (int j = 0; j < n; j++)
            strcat(line,
                   bits[(size_t)(shape_random(&seed) * (double)(sizeof bits / sizeof *bits))]);
        struct step step, back;
        if (step_parse(line, &step, NULL) != STATUS_OK || !step.op)
            continue;
        understood++;
        char *text = step_text(&step);
        ck_assert_msg(step_parse(text, &back, NULL) == STATUS_OK, "%s became %s", line, text);
        char *again = step_text(&back);
        ck_assert_str_eq(text, again);
        free(text);
        free(again);
        step_release(&step);
        step_release(&back);
    }
    ck_assert_int_gt(understood, 1000);
}
END_TEST

START_TEST(blank_lines_and_comments_are_no_steps)
{
    static const char *const lines[] = {"", "  \t", "# fill", "   # x", "\n", "\r\n"};
    for (size_t i = 0; i < sizeof lines / sizeof *lines; i++) {
        struct step step;
        ck_assert_int_eq(step_parse(lines[i], &step, NULL), STATUS_OK);
        ck_assert_ptr_null(step.op);
        char *text = step_text(&step);
        ck_assert_str_eq(text, "");
        free(text);
        step_release(&step);
    }
}
END_TEST

#define COUNT(table) (int)(sizeof table / sizeof *table)

Suite *suite_args(void);

Suite *suite_args(void)
{
    Suite *suite = suite_create("args");
    TCase *tests = tcase_create("args");
    tcase_set_timeout(tests, 60);
    tcase_add_loop_test(tests, numbers_are_read, 0, COUNT(reads));
    tcase_add_loop_test(tests, numbers_are_written, 0, COUNT(writes));
    tcase_add_test(tests, any_number_comes_back_exactly);
    tcase_add_test(tests, lines_fall_into_words);
    tcase_add_test(tests, an_open_quote_is_told);
    tcase_add_test(tests, any_text_comes_back_quoted);
    tcase_add_test(tests, slips_are_understood);
    tcase_add_loop_test(tests, values_are_read, 0, COUNT(values));
    tcase_add_test(tests, places_and_directions_are_read);
    tcase_add_test(tests, rows_are_named_helped_and_unique);
    tcase_add_test(tests, examples_are_lines_that_parse);
    tcase_add_test(tests, parameters_are_helped_and_their_defaults_hold);
    tcase_add_test(tests, any_step_comes_back_from_its_text);
    tcase_add_test(tests, no_line_is_too_strange);
    tcase_add_test(tests, blank_lines_and_comments_are_no_steps);
    suite_add_tcase(suite, tests);
    return suite;
}
