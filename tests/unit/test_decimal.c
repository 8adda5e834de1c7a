/* Numbers in and out of text, against the C library's in the C locale. */
#include <check.h>
#include <locale.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "format/decimal.h"
#include "format/frame.h"
#include "tests/support/shapes.h"

static uint64_t bits(uint64_t *state)
{
    return (uint64_t)(shape_random(state) * 4294967296.0) << 32 |
           (uint64_t)(shape_random(state) * 4294967296.0);
}

static void reads(const char *text)
{
    double value = -1, wanted = strtod(text, NULL);
    const char *end = text + strlen(text), *stop = decimal_read(text, end, '.', &value);
    if (stop != end || memcmp(&value, &wanted, sizeof value) != 0)
        ck_abort_msg("\"%s\" read as %a, not %a", text, value, wanted);
}

START_TEST(reading)
{
    static const char *const texts[] = {
        "0",
        "-0",
        "1",
        "+1.5",
        ".5",
        "5.",
        "1e5",
        "1E-5",
        "1e+05",
        "123456789012345678901234567890",
        "0.1",
        "9007199254740993",
        "9007199254740992.999999999999999999999",
        "1e400",
        "1e-400",
        "2.2250738585072011e-308",
        "4.9e-324",
        "2.4703282292062327208e-324",
        "17976931348623157e292",
        "0.000000000000000000000000000000000000000000000000000000000000001",
        "1e23",
        "8.5e22"};
    uint64_t state = 1;
    for (size_t i = 0; i < sizeof texts / sizeof *texts; i++)
        reads(texts[i]);
    char text[2000];
    for (int i = 0; i < 300000; i++) {
        uint64_t u = bits(&state);
        double value;
        memcpy(&value, &u, sizeof value);
        if (i % 3 == 0 && isfinite(value))
            snprintf(text, sizeof text, "%.*g", 1 + (int)(u % 20), value);
        else if (i % 3 == 1)
            snprintf(text, sizeof text, "%.*f", (int)(u % 15), (double)(int64_t)u / 1e14);
        else
            snprintf(text, sizeof text, "-%llu.%llue%d", (unsigned long long)(u >> (u & 63)),
                     (unsigned long long)bits(&state), (int)(u % 640) - 320);
        reads(text);
    }
    /* A tie but for a digit a thousand places on: it must be rounded up. */
    int n = sprintf(text, "9007199254740993.");
    memset(text + n, '0', 1000);
    strcpy(text + n + 1000, "1");
    reads(text);
}
END_TEST

START_TEST(no_numbers)
{
    static const char *const texts[] = {"", "-", ".", "e5", "+.", "abc", "in", "-na", ","};
    double value;
    int64_t whole;
    for (size_t i = 0; i < sizeof texts / sizeof *texts; i++) {
        const char *end = texts[i] + strlen(texts[i]);
        ck_assert_ptr_null(decimal_read(texts[i], end, '.', &value));
        ck_assert_ptr_null(decimal_whole(texts[i], end, &whole));
    }
    const char text[] = "1,5e1;inf nan -Infinity 1e";
    ck_assert_ptr_eq(decimal_read(text, text + sizeof text - 1, ',', &value), text + 5);
    ck_assert_double_eq(value, 15);
    ck_assert_ptr_eq(decimal_read(text + 6, text + sizeof text - 1, '.', &value), text + 9);
    ck_assert(isinf(value));
    ck_assert_ptr_eq(decimal_read(text + 10, text + sizeof text - 1, '.', &value), text + 13);
    ck_assert(isnan(value));
    ck_assert_ptr_eq(decimal_read(text + 14, text + sizeof text - 1, '.', &value), text + 23);
    ck_assert(isinf(value) && value < 0);
    ck_assert_ptr_eq(decimal_read(text + 24, text + sizeof text - 1, '.', &value), text + 25);
    const char large[] = "-99999999999999999999";
    ck_assert_ptr_eq(decimal_whole(large, large + sizeof large - 1, &whole), large + 21);
    ck_assert_int_eq(whole, -4000000000000000000);
}
END_TEST

/* Floats: read back to the same by ours and by the C library's, in at most nine digits. */
START_TEST(floats)
{
    uint64_t state = 2;
    for (int i = 0; i < 500000; i++) {
        uint32_t u = (uint32_t)(bits(&state) >> 13);
        float value = i % 2 ? (float)(200 * shape_random(&state) - 100) : 0;
        if (i % 2 == 0)
            memcpy(&value, &u, sizeof value);
        if (!isfinite(value) || value == 0)
            continue;
        char text[DECIMAL_MOST + 1];
        char *end = decimal_float(text, value);
        *end = '\0';
        double read;
        if (strtof(text, NULL) != value || decimal_read(text, end, '.', &read) != end ||
            (float)read != value || end - text > 17)
            ck_abort_msg("%a written as %s", (double)value, text);
    }
}
END_TEST

START_TEST(short_floats)
{
    static const char *const texts[] = {
        "0",      "1",    "-1",       "0.1",   "1.5",   "100000", "1e-7",    "0.0001", "16777216",
        "3.4e38", "1e20", "0.015625", "-2.25", "1e-45", "255",    "-0.3333", "99.99",  "1234.567"};
    for (size_t i = 0; i < sizeof texts / sizeof *texts; i++) {
        char text[DECIMAL_MOST + 1];
        *decimal_float(text, strtof(texts[i], NULL)) = '\0';
        ck_assert_str_eq(text, texts[i]);
    }
}
END_TEST

/* Origin and float: what is written gives the same float again once the origin is taken off. */
START_TEST(sums)
{
    uint64_t state = 3;
    for (int i = 0; i < 200000; i++) {
        double origin = 1024 * floor(20000 * shape_random(&state) - 10000);
        float point = (float)(1024 * shape_random(&state) - 512);
        char text[DECIMAL_MOST + 1];
        char *end = decimal_sum(text, origin, point);
        double read;
        *end = '\0';
        if (decimal_read(text, end, '.', &read) != end || end - text > DECIMAL_MOST ||
            (float)(read - origin) != (float)(origin + (double)point - origin))
            ck_abort_msg("%.17g + %.9g written as %s", origin, (double)point, text);
    }
}
END_TEST

/* What is written has the origin that reading it finds again, whatever the mesh's was. */
START_TEST(frames)
{
    uint64_t state = 4;
    for (int i = 0; i < 20000; i++) {
        struct mesh *mesh = mesh_new(1, 0);
        double number[3], origin[3];
        for (int k = 0; k < 3; k++) /* also hair's breadths from where the origin changes */
            mesh->origin[k] =
                i % 2 ? 1024 * floor(40 * shape_random(&state)) : 5e4 * shape_random(&state);
        mesh_point_edit(mesh)[0] =
            (struct point){512, 511.99999F, (float)(1e4 * shape_random(&state))};
        struct frame frame;
        frame_init(&frame, mesh, UNIT_MM);
        struct point p = frame_point(&frame, 0);
        const float at[3] = {p.x, p.y, p.z};
        for (int k = 0; k < 3; k++)
            number[k] = frame.origin[k] + (double)at[k];
        mesh_origin_for(number, origin);
        for (int k = 0; k < 3; k++)
            if (origin[k] != frame.origin[k])
                ck_abort_msg("%.17g: %g, then %g", number[k], frame.origin[k], origin[k]);
        mesh_free(mesh);
    }
}
END_TEST

/* A locale with a decimal comma changes nothing, where there is one. */
START_TEST(locales)
{
    static const char *const names[] = {"de_DE.UTF-8", "fr_FR.UTF-8", "de_DE", "C.UTF-8"};
    for (int i = 0; i < 4; i++) {
        if (!setlocale(LC_ALL, names[i]))
            continue;
        char text[DECIMAL_MOST + 1];
        const char slow[] = "1.00000000000000000000000000000000000001e-300";
        double value;
        *decimal_float(text, 1.5F) = '\0';
        ck_assert_str_eq(text, "1.5");
        ck_assert_ptr_eq(decimal_read(slow, slow + sizeof slow - 1, '.', &value),
                         slow + sizeof slow - 1);
        ck_assert_double_eq(value, 1e-300);
    }
    setlocale(LC_ALL, "C");
}
END_TEST

Suite *suite_decimal(void);
Suite *suite_decimal(void)
{
    Suite *suite = suite_create("decimal");
    TCase *all = tcase_create("decimal");
    tcase_set_timeout(all, 60);
    tcase_add_test(all, reading);
    tcase_add_test(all, no_numbers);
    tcase_add_test(all, floats);
    tcase_add_test(all, short_floats);
    tcase_add_test(all, sums);
    tcase_add_test(all, frames);
    tcase_add_test(all, locales);
    suite_add_tcase(suite, all);
    return suite;
}
