#include <check.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "tui/text.h"

static const struct {
    double mm;
    const char *text;
} lengths[] = {
    {0, "0 mm"},
    {12.3456, "12.35 mm"},
    {0.01234, "0.0123 mm"},
    {1250.4, "1250 mm"},
    {5, "5 mm"},
    {-0.5, "-0.5 mm"},
    {0.00001, "0 mm"},
    {-0.00001, "0 mm"},
    {99.999, "100 mm"},
    {1e6, "1000000 mm"},
    {INFINITY, "-"},
    {NAN, "-"},
    {1.5e20, "1.500e+20 mm"},
    {0.99999, "1 mm"},
    {120.0, "120 mm"},
};

START_TEST(lengths_are_written)
{
    char text[TEXT_SIZE];
    text_length(lengths[_i].mm, text);
    ck_assert_str_eq(text, lengths[_i].text);
}
END_TEST

static const struct {
    uint64_t bytes;
    const char *text;
} sizes[] = {{0, "0 bytes"},          {1023, "1023 bytes"},      {1024, "1.0 KiB"},
             {1536, "1.5 KiB"},       {1048575, "1.0 MiB"},      {50176084, "47.9 MiB"},
             {5ull << 30, "5.0 GiB"}, {123ull << 30, "123 GiB"}, {UINT64_MAX, "16384 PiB"}};

START_TEST(sizes_are_written)
{
    char text[TEXT_SIZE];
    text_bytes(sizes[_i].bytes, text);
    ck_assert_str_eq(text, sizes[_i].text);
}
END_TEST

START_TEST(sizes_are_read)
{
    ck_assert_uint_eq(text_bytes_read("512M"), 512u << 20);
    ck_assert_uint_eq(text_bytes_read("1.5G"), 3ull << 29);
    ck_assert_uint_eq(text_bytes_read("4096"), 4096);
    ck_assert_uint_eq(text_bytes_read("2GiB"), 2ull << 30);
    ck_assert_uint_eq(text_bytes_read("2kB"), 2048);
    static const char *const wrong[] = {"", "M", "-1M", "5X", "5MM", "nan", "0", "1e300", " 5M"};
    for (size_t i = 0; i < sizeof wrong / sizeof *wrong; i++)
        ck_assert_msg(text_bytes_read(wrong[i]) == 0, "%s", wrong[i]);
}
END_TEST

START_TEST(counts_are_grouped)
{
    char text[TEXT_SIZE];
    text_count(9999, text);
    ck_assert_str_eq(text, "9999");
    text_count(10000, text);
    ck_assert_str_eq(text, "10 000");
    text_count(UINT64_MAX, text);
    ck_assert_str_eq(text, "18 446 744 073 709 551 615");
    text_counted(1, "triangle", "triangles", text);
    ck_assert_str_eq(text, "1 triangle");
    text_counted(2000000, "triangle", "triangles", text);
    ck_assert_str_eq(text, "2 000 000 triangles");
}
END_TEST

START_TEST(times_are_written)
{
    char text[TEXT_SIZE];
    text_seconds(3.44, text);
    ck_assert_str_eq(text, "3.4 s");
    text_seconds(59.96, text);
    ck_assert_str_eq(text, "1 min 0 s");
    text_seconds(125, text);
    ck_assert_str_eq(text, "2 min 5 s");
    text_seconds(4800, text);
    ck_assert_str_eq(text, "1 h 20 min");
}
END_TEST

static char *wrapped(const char *text, int at, int indent, int width)
{
    char *out = NULL;
    size_t size;
    FILE *file = open_memstream(&out, &size);
    text_wrap(file, text, at, indent, width);
    fclose(file);
    return out;
}

START_TEST(lines_break_at_blanks)
{
    char *text = wrapped("one two three four", 0, 2, 8);
    ck_assert_str_eq(text, "one two\n  three\n  four\n");
    free(text);
    text = wrapped("unbreakable words", 0, 0, 5);
    ck_assert_str_eq(text, "unbre\nakabl\ne\nwords\n");
    free(text);
    text = wrapped("exactly8 x\ny", 0, 0, 8);
    ck_assert_str_eq(text, "exactly8\nx\ny\n");
    free(text);
}
END_TEST

START_TEST(what_a_terminal_would_obey_is_tamed)
{
    char text[] = "a\x1b[2Jb\nc\x7f\xc2\x9b"
                  "d\xc3\xa9",
         line[] = "x\ny\r";
    text_tame(text, true);
    ck_assert_str_eq(text, "a?[2Jb\nc???d\xc3\xa9");
    text_tame(line, false);
    ck_assert_str_eq(line, "x?y?");
}
END_TEST

Suite *suite_text(void);

Suite *suite_text(void)
{
    Suite *suite = suite_create("text");
    TCase *tests = tcase_create("text");
    tcase_add_loop_test(tests, lengths_are_written, 0, (int)(sizeof lengths / sizeof *lengths));
    tcase_add_loop_test(tests, sizes_are_written, 0, (int)(sizeof sizes / sizeof *sizes));
    tcase_add_test(tests, sizes_are_read);
    tcase_add_test(tests, counts_are_grouped);
    tcase_add_test(tests, times_are_written);
    tcase_add_test(tests, what_a_terminal_would_obey_is_tamed);
    tcase_add_test(tests, lines_break_at_blanks);
    suite_add_tcase(suite, tests);
    return suite;
}
