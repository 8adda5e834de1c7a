/* A mapped file that another program cuts off while it is read: an error, not the program's end. */
#include <check.h>
#include <signal.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "core/job.h"
#include "format/source.h"
#include "tests/support/asking.h"
#include "tests/support/folder.h"
#include "tui/fault.h"

static char *folder, *path;
static struct job job;

static void begin(size_t lines)
{
    static const char line[] = "1.25 2.5 3.75\n";
    const size_t n = sizeof line - 1;
    char *text = malloc(lines * n);
    for (size_t i = 0; i < lines; i++)
        memcpy(text + i * n, line, n);
    folder = folder_new();
    path = folder_path(folder, "points.xyz");
    folder_write(folder, "points.xyz", text, lines * n);
    free(text);
    job_init(&job);
    fault_begin();
    fault_watch(FAULT_WORK, &job);
}

static void end(void)
{
    fault_watch(FAULT_WORK, NULL);
    job_release(&job);
    free(path);
    folder_remove(folder);
}

START_TEST(pages_that_are_gone_read_as_zeros)
{
    struct source source;
    begin(100000);
    ck_assert(source_open(path, &source, &job) == STATUS_OK);
    ck_assert_int_eq(source.bytes.data[0], '1');
    ck_assert_int_eq(truncate(path, 4096), 0);
    ck_assert_int_eq(source.bytes.data[500000], 0);
    ck_assert_int_eq(source.bytes.data[source.bytes.size - 1], 0);
    ck_assert_int_eq(source.bytes.data[0], '1'); /* what is still there stays */
    ck_assert(atomic_load(&job.mapped_lost));
    source_release(&source);
    ck_assert(atomic_load(&job.mapped) == NULL);
    end();
}
END_TEST

static void cut_off(void *none)
{
    (void)none;
    ck_assert_int_eq(truncate(path, 8192), 0);
}

START_TEST(the_reading_ends_as_an_error)
{
    struct file file;
    struct asking_call midway = {.job = &job, .from = 1e-6, .make = cut_off};
    begin(1 << 20);
    asking_await(&midway);
    enum status status = file_read(path, UNIT_NONE, &file, &job);
    ck_assert_int_eq(status, STATUS_FILE);
    ck_assert_ptr_nonnull(strstr(job.message, "points.xyz"));
    ck_assert_ptr_nonnull(strstr(job.message, "cut it off while it was read"));
    job_forgive(&job); /* and the next reading is judged for itself */
    ck_assert_int_eq(file_read(path, UNIT_NONE, &file, &job), STATUS_OK);
    file_release(&file);
    end();
}
END_TEST

/* Any other address still ends the program. */
START_TEST(a_fault_elsewhere_is_not_hidden)
{
    struct source source;
    begin(100000);
    ck_assert(source_open(path, &source, NULL) == STATUS_OK); /* nobody was told of it */
    ck_assert_int_eq(truncate(path, 4096), 0);
    volatile unsigned char byte = source.bytes.data[500000];
    (void)byte;
}
END_TEST

Suite *suite_fault(void);

Suite *suite_fault(void)
{
    Suite *suite = suite_create("fault");
    TCase *tests = tcase_create("fault");
    tcase_set_timeout(tests, 60);
    tcase_add_test(tests, pages_that_are_gone_read_as_zeros);
    tcase_add_test(tests, the_reading_ends_as_an_error);
    tcase_add_test_raise_signal(tests, a_fault_elsewhere_is_not_hidden, SIGBUS);
    suite_add_tcase(suite, tests);
    return suite;
}
