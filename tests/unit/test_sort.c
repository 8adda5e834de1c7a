/* Long lists sorted on all threads: as qsort has it, whatever the threads. */
#include <check.h>
#include <stdlib.h>
#include <string.h>

#include "core/job.h"
#include "core/sort.h"
#include "tests/support/cancelling.h"
#include "tests/support/shapes.h"

struct item {
    uint32_t key, number;
    char rest[5]; /* of an odd size */
};

static int by_key(const void *x, const void *y)
{
    const struct item *a = x, *b = y;
    if (a->key != b->key)
        return a->key < b->key ? -1 : 1;
    return (a->number > b->number) - (a->number < b->number);
}

/* Keys of which many are equal; `kind` 1: sorted already, 2: the wrong way round. */
static struct item *make_items(size_t count, int kind)
{
    struct item *item = calloc(count + 1, sizeof *item);
    uint64_t seed = count + 1;
    ck_assert_ptr_nonnull(item);
    for (size_t i = 0; i < count; i++) {
        item[i].number = (uint32_t)i;
        uint32_t keys[] = {(uint32_t)(1000 * shape_random(&seed)), (uint32_t)i,
                           (uint32_t)(count - i)};
        item[i].key = keys[kind];
        memset(item[i].rest, (int)(i % 251), sizeof item[i].rest);
    }
    return item;
}

static const size_t counts[] = {0, 1, 2, 3, 8191, 8192, 8193, 16384, 16385, 24577, 100003};
enum { COUNTS = sizeof counts / sizeof *counts };

START_TEST(as_qsort_has_it)
{
    size_t count = counts[_i];
    for (int kind = 0; kind < 3; kind++) {
        struct item *right = make_items(count, kind);
        qsort(right, count, sizeof *right, by_key);
        for (int threads = 1; threads < 5; threads++) {
            struct item *item = make_items(count, kind);
            struct job job;
            job_init(&job);
            job.threads = threads;
            ck_assert_int_eq(sort_items(item, count, sizeof *item, by_key, &job), STATUS_OK);
            ck_assert(memcmp(item, right, count * sizeof *item) == 0);
            job_release(&job);
            free(item);
        }
        free(right);
    }
}
END_TEST

START_TEST(cancelled)
{
    size_t count = 3000000;
    struct item *item = make_items(count, 0);
    struct job job;
    struct cancelling c = {.job = &job, .from = 0};
    while (cancelling_again(&c))
        ck_assert_int_eq(sort_items(item, count, sizeof *item, by_key, &job), STATUS_CANCELLED);
    free(item);
}
END_TEST

Suite *suite_sort(void);
Suite *suite_sort(void)
{
    Suite *suite = suite_create("sort");
    TCase *all = tcase_create("all");
    tcase_set_timeout(all, 60);
    tcase_add_loop_test(all, as_qsort_has_it, 0, COUNTS);
    tcase_add_test(all, cancelled);
    suite_add_tcase(suite, all);
    return suite;
}
