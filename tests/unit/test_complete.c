/* What the prompt offers where a line wants a file: those that the operation takes. */
#include <check.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "tests/support/folder.h"
#include "tui/complete.h"

/* The words offered at the end of the line, one after the other. */
static char *offered(const char *line)
{
    struct completion c = {0};
    completion_find(&c, line, strlen(line));
    char *all = calloc(1, 4096);
    for (size_t i = 0; i < c.count; i++)
        strcat(strcat(all, c.word[i]), "|");
    completion_release(&c);
    return all;
}

static void offers(const char *line, const char *words)
{
    char *all = offered(line);
    ck_assert_msg(strcmp(all, words) == 0, "%s: %s, %s is right", line, all, words);
    free(all);
}

static const char *const files[] = {"a.stl",     "b.PLY",       "c.obj", "mail.zip",
                                    "notes.txt", "picture.png", "w.pdf", "w.svg"};
enum { FILES = sizeof files / sizeof *files };

START_TEST(files_that_are_taken)
{
    char *folder = folder_new(), *sub = folder_path(folder, "scans");
    for (int i = 0; i < FILES; i++)
        folder_write(folder, files[i], "x", 1);
    ck_assert_int_eq(mkdir(sub, 0777), 0);
    ck_assert_int_eq(chdir(folder), 0);
    offers("open file=", "file=a.stl |file=b.PLY |file=c.obj |file=mail.zip |file=scans/|");
    offers("save file=", "file=a.stl |file=b.PLY |file=c.obj |file=scans/|");
    offers("subtract m", "mail.zip |");
    offers("template w", "w.pdf |w.svg |wall=|");
    offers("template file=s", "file=scans/|");
    offers("open p", "picture.png |"); /* it is known by its content all the same */
    offers("open zz", "");
    ck_assert_int_eq(chdir("/"), 0);
    free(sub);
    folder_remove(folder);
}
END_TEST

Suite *suite_complete(void);
Suite *suite_complete(void)
{
    Suite *suite = suite_create("complete");
    TCase *all = tcase_create("all");
    tcase_add_test(all, files_that_are_taken);
    suite_add_tcase(suite, all);
    return suite;
}
