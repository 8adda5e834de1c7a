/* The tables of screws and holes against the standards' values, typed in a second time. All come
 * from secondary tables unless the row says otherwise; none was read in the standard itself. */
#include <check.h>
#include <string.h>

#include "solid/screws.h"

enum { METRIC = 8, HEADS = 5 }; /* M2 to M10; M3 to M8 */

struct expected {
    enum measure measure;
    enum screw first;
    int count;
    double mm[METRIC];
};

static const struct expected expected[] = {
    /* ISO 273:1979, clearance holes, secondary tables: 2, 2.5, 3, 4, 5, 6, 8, 10 mm */
    {MEASURE_fine, SCREW_M2, METRIC, {2.2, 2.7, 3.2, 4.3, 5.3, 6.4, 8.4, 10.5}},
    {MEASURE_medium, SCREW_M2, METRIC, {2.4, 2.9, 3.4, 4.5, 5.5, 6.6, 9, 11}},
    {MEASURE_coarse, SCREW_M2, METRIC, {2.6, 3.1, 3.6, 4.8, 5.8, 7, 10, 12}},
    /* DIN 974-1, counterbores for ISO 4762 and 1207, secondary tables */
    {MEASURE_counterbore, SCREW_M2, METRIC, {4.4, 5.5, 6.5, 8, 10, 11, 15, 18}},
    /* ISO 15065, countersinks for ISO 2009/2010/7046, secondary table; M2, M2.5, M5, M10 from
     * memory
     */
    {MEASURE_sink, SCREW_M2, METRIC, {4.4, 5.5, 6.3, 9.4, 10.4, 12.6, 17.3, 20}},
    /* DIN 74:2003 form F, countersinks for ISO 10642, secondary tables */
    {MEASURE_sink_socket, SCREW_M3, HEADS, {6.94, 9.18, 11.47, 13.71, 18.25}},
    /* ISO 2009/2010/7046, heads: theoretical from memory, the others from a secondary table */
    {MEASURE_flat_sharp, SCREW_M2, METRIC, {4.4, 5.5, 6.3, 9.4, 10.4, 12.6, 17.3, 20}},
    {MEASURE_flat_head, SCREW_M3, HEADS, {5.5, 8.4, 9.3, 11.3, 15.8}},
    {MEASURE_flat_height, SCREW_M3, HEADS, {1.65, 2.7, 2.7, 3.3, 4.65}},
    /* DIN 963/965, heads, secondary table */
    {MEASURE_flat_head_din, SCREW_M3, HEADS, {5.6, 7.5, 9.2, 11, 14.5}},
    /* ISO 10642, heads, secondary tables */
    {MEASURE_socket_sharp, SCREW_M3, HEADS, {6.72, 8.96, 11.20, 13.44, 17.92}},
    {MEASURE_socket_height, SCREW_M3, HEADS, {1.86, 2.48, 3.10, 3.72, 4.96}},
    /* ISO 7045, ISO 1207, ISO 4762, heads, secondary table; of ISO 7045 M2, M2.5 and M10 from
     * memory
     */
    {MEASURE_pan_head, SCREW_M2, METRIC, {4, 5, 5.6, 8, 9.5, 12, 16, 20}},
    {MEASURE_pan_height, SCREW_M2, METRIC, {1.6, 2.1, 2.4, 3.1, 3.7, 4.6, 6, 7.5}},
    {MEASURE_cheese_head, SCREW_M3, HEADS, {5.5, 7, 8.5, 10, 13}},
    {MEASURE_cheese_height, SCREW_M3, HEADS, {2, 2.6, 3.3, 3.9, 5}},
    {MEASURE_cap_head, SCREW_M3, HEADS, {5.5, 7, 8.5, 10, 13}},
    /* ISO 4762 again: M3 to M8 from a secondary table, M2, M2.5 and M10 from memory */
    {MEASURE_cap_height, SCREW_M2, METRIC, {2, 2.5, 3, 4, 5, 6, 8, 10}},
    /* pilots of heat-set inserts: makers' figures, no standard */
    {MEASURE_insert, SCREW_M3, HEADS, {4.0, 5.6, 6.4, 8.0, 9.6}},
    {MEASURE_insert_most, SCREW_M3, HEADS, {4.0, 5.7, 6.5, 8.1, 9.7}},
    /* wood screws no. 6, 8, 10 of ASME B18.6.1, from memory */
    {MEASURE_wood_head, SCREW_NO6, 3, {7.1, 8.4, 9.8}},
};

START_TEST(rows_are_the_standards)
{
    ck_assert_uint_eq(sizeof expected / sizeof *expected, MEASURE_COUNT);
    for (int m = 0; m < MEASURE_COUNT; m++) {
        const struct expected *e = &expected[m];
        const struct measure_row *row = measure_row(e->measure);
        ck_assert_int_eq((int)e->measure, m);
        ck_assert_msg(row->standard[0] && row->source[0] && row->help[0], "row %d", m);
        for (int s = 0; s < SCREW_COUNT; s++) {
            int i = s - (int)e->first;
            double wanted = i >= 0 && i < e->count ? e->mm[i] : 0;
            ck_assert_msg(row->mm[s] == wanted, "%s, %s: %g, not %g", row->standard,
                          screw_name((enum screw)s), row->mm[s], wanted);
        }
    }
}
END_TEST

/* ASME B18.6.1: shank = 0.060 + 0.013 N inch, from memory. */
START_TEST(wood_screws_follow_the_rule)
{
    static const int number[] = {6, 8, 10};
    for (int i = 0; i < 3; i++) {
        double inch = 0.060 + 0.013 * number[i];
        ck_assert_double_eq_tol(screw_shank((enum screw)(SCREW_NO6 + i)), 25.4 * inch, 0.005);
    }
}
END_TEST

/* What must hold between the tables whatever their values. */
START_TEST(rows_agree_with_each_other)
{
    for (int i = 0; i < METRIC; i++) {
        enum screw s = (enum screw)i;
        double shank = screw_shank(s), fine = screw_measure(s, MEASURE_fine);
        double medium = screw_measure(s, MEASURE_medium), coarse = screw_measure(s, MEASURE_coarse);
        ck_assert(shank < fine && fine < medium && medium < coarse);
        ck_assert(screw_measure(s, MEASURE_counterbore) > screw_measure(s, MEASURE_cap_head));
        ck_assert(screw_measure(s, MEASURE_counterbore) > coarse);
        double sink = screw_measure(s, MEASURE_sink);
        if (sink > 0) { /* no standing proud: the recess takes in the head's sharp edge */
            ck_assert(sink >= screw_measure(s, MEASURE_flat_sharp));
        }
        double socket = screw_measure(s, MEASURE_sink_socket);
        ck_assert(socket == 0 || socket > screw_measure(s, MEASURE_socket_sharp));
    }
}
END_TEST

START_TEST(names_are_choices)
{
    const char *at = SCREW_NAMES;
    for (int s = 0; s < SCREW_COUNT; s++) {
        const char *name = screw_name((enum screw)s);
        ck_assert(strncmp(at, name, strlen(name)) == 0);
        at += strlen(name);
        ck_assert(*at == (s + 1 < SCREW_COUNT ? ' ' : '\0'));
        at++;
    }
}
END_TEST

Suite *suite_screws(void);
Suite *suite_screws(void)
{
    Suite *suite = suite_create("screws");
    TCase *tables = tcase_create("tables");
    tcase_add_test(tables, rows_are_the_standards);
    tcase_add_test(tables, wood_screws_follow_the_rule);
    tcase_add_test(tables, rows_agree_with_each_other);
    tcase_add_test(tables, names_are_choices);
    suite_add_tcase(suite, tables);
    return suite;
}
