/* The tables of inspection, and an inspection in words: JSON and page. */
#include <check.h>
#include <stdlib.h>
#include <string.h>

#include <jansson.h>

#include "check/report.h"
#include "op/op.h"
#include "tests/support/contract.h"
#include "tests/support/shapes.h"
#include "tests/support/wrecks.h"

static struct inspection inspected(const struct mesh *mesh)
{
    struct inspection inspection;
    ck_assert_int_eq(inspect(mesh, NULL, &inspection, NULL), STATUS_OK);
    return inspection;
}

/* What mends it is an operation, and its help says so. */
static void tells_what_mends(const struct check *check)
{
    char quoted[64];
    if (!check->mend)
        return;
    ck_assert_msg(op_named(check->mend, strlen(check->mend)), "%s: no such operation", check->mend);
    snprintf(quoted, sizeof quoted, "\"%s\"", check->mend);
    ck_assert_msg(strstr(check->help, quoted), "%s: its help does not name %s", check->name,
                  quoted);
}

START_TEST(checks_are_complete)
{
    size_t rows = 0;
    for (const struct check *check; (check = check_row(rows)); rows++) {
        ck_assert(check->run && check->name[0] && check->title[0]);
        ck_assert_msg(strlen(check->help) > 20, "%s: no help", check->name);
        tells_what_mends(check);
        ck_assert_uint_eq(strspn(check->name, "abcdefghijklmnopqrstuvwxyz-"), strlen(check->name));
        for (size_t i = 0; i < rows; i++)
            ck_assert_str_ne(check_row(i)->name, check->name);
    }
    ck_assert_uint_gt(rows, 10);
    ck_assert_ptr_null(check_row(rows + 1));
}
END_TEST

START_TEST(json_has_every_name_of_the_contract)
{
    struct mesh *mesh = wreck(_i);
    struct inspection inspection = inspected(mesh);
    char *text = inspection_json(&inspection);
    ck_assert_ptr_nonnull(text);
    ck_assert_ptr_null(strchr(text, '\n'));
    json_t *object = json_loads(text, JSON_REJECT_DUPLICATES, NULL);
    ck_assert_ptr_nonnull(object);
    for (int i = 0; i < CONTRACT; i++)
        ck_assert_msg(json_object_get(object, contract[i]) != NULL, "no %s", contract[i]);
    ck_assert_int_eq(json_integer_value(json_object_get(object, "boundary_edges")),
                     inspection.figure[FIGURE_boundary_edges].count);
    ck_assert(json_is_null(json_object_get(object, "volume")));
    const json_t *findings = json_object_get(object, "findings");
    ck_assert_uint_eq(json_array_size(findings), inspection.finding_count);
    for (size_t i = 0; i < json_array_size(findings); i++) {
        const json_t *finding = json_array_get(findings, i);
        ck_assert_str_eq(json_string_value(json_object_get(finding, "text")),
                         inspection.finding[i].text);
        ck_assert_str_eq(json_string_value(json_object_get(finding, "severity")),
                         severity_name(inspection.finding[i].severity));
        ck_assert(json_is_integer(json_object_get(finding, "count")));
    }
    json_decref(object);
    free(text);
    inspection_release(&inspection);
    mesh_free(mesh);
}
END_TEST

START_TEST(json_survives_any_file_name)
{
    static const struct {
        const char *name, *want;
    } names[] = {
        {"a\"b\\c\n.stl", "a\"b\\c\n.stl"},
        {"gr\xc3\xbc\xc3\x9f.stl", "gr\xc3\xbc\xc3\x9f.stl"},
        {"\xff\xc3.stl", "\xef\xbf\xbd\xef\xbf\xbd.stl"},
        {"\xc0\xaf\xed\xa0\x80", "\xef\xbf\xbd\xef\xbf\xbd\xef\xbf\xbd\xef\xbf\xbd\xef\xbf\xbd"},
        {"\xf0\x9f\x98\x80\xf4\x90\x80\x80",
         "\xf0\x9f\x98\x80\xef\xbf\xbd\xef\xbf\xbd\xef\xbf\xbd\xef\xbf\xbd"}};
    struct mesh *mesh = shape_box(10, 10, 10, 1);
    struct check_input input = {.file = names[_i].name, .unit = "mm", .unit_source = "assumed"};
    struct inspection inspection;
    ck_assert_int_eq(inspect(mesh, &input, &inspection, NULL), STATUS_OK);
    char *text = inspection_json(&inspection);
    json_t *object = json_loads(text, 0, NULL);
    ck_assert_ptr_nonnull(object);
    ck_assert_str_eq(json_string_value(json_object_get(object, "file")), names[_i].want);
    ck_assert(json_is_null(json_object_get(object, "colour")));
    json_decref(object);
    free(text);
    inspection_release(&inspection);
    mesh_free(mesh);
}
END_TEST

START_TEST(page_is_narrow_and_says_all)
{
    struct mesh *mesh = wreck(_i);
    struct inspection inspection = inspected(mesh);
    char *text = inspection_page(&inspection);
    ck_assert_ptr_nonnull(text);
    for (const char *line = text, *end; (end = strchr(line, '\n')); line = end + 1)
        ck_assert_msg(end - line <= 80, "too wide: %.*s", (int)(end - line), line);
    for (int i = 0; i < FIGURE_COUNT; i++)
        ck_assert_ptr_nonnull(strstr(text, figure_row((enum figure)i)->title));
    for (size_t i = 0; i < inspection.finding_count; i++)
        ck_assert_ptr_nonnull(strstr(text, inspection.finding[i].check->title));
    ck_assert_ptr_nonnull(strstr(text, " in\n"));
    free(text);
    inspection_release(&inspection);
    mesh_free(mesh);
}
END_TEST

Suite *suite_report(void);

Suite *suite_report(void)
{
    Suite *suite = suite_create("report");
    TCase *tables = tcase_create("tables");
    tcase_add_test(tables, checks_are_complete);
    tcase_add_loop_test(tables, json_has_every_name_of_the_contract, 0, 12);
    tcase_add_loop_test(tables, json_survives_any_file_name, 0, 5);
    tcase_add_loop_test(tables, page_is_narrow_and_says_all, 0, 12);
    suite_add_tcase(suite, tables);
    return suite;
}
