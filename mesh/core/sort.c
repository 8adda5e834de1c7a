#include "core/sort.h"

#include <stdlib.h>
#include <string.h>

#include "core/array.h"
#include "core/job.h"

enum { RUN = 8192, LOOK = 8192 }; /* items: of a run at first; between two looks at cancel */

struct sorting {
    size_t count, size;
    int (*order)(const void *, const void *);
    const struct job *job;
};

/* Merges from[low..middle) with from[middle..high) into to[low..high). */
static void merge(const struct sorting *s, const char *from, char *to, size_t low, size_t middle,
                  size_t high)
{
    size_t size = s->size, a = low, b = middle;
    for (size_t i = low; i < high; i++) {
        if ((i - low) % LOOK == 0 && job_cancelled(s->job))
            return;
        bool first = b == high || (a < middle && s->order(from + a * size, from + b * size) <= 0);
        memcpy(to + i * size, from + (first ? a++ : b++) * size, size);
    }
}

static size_t least(size_t a, size_t b)
{
    return a < b ? a : b;
}

static void sort_runs(const struct sorting *s, char *items, int threads)
{
#pragma omp parallel for num_threads(threads) schedule(dynamic)
    for (size_t i = 0; i < s->count; i += RUN)
        if (!job_cancelled(s->job))
            qsort(items + i * s->size, least(RUN, s->count - i), s->size, s->order);
}

static void merge_runs(const struct sorting *s, const char *from, char *to, size_t run, int threads)
{
#pragma omp parallel for num_threads(threads) schedule(dynamic)
    for (size_t i = 0; i < s->count; i += 2 * run)
        merge(s, from, to, i, least(i + run, s->count), least(i + 2 * run, s->count));
}

enum status sort_items(void *items, size_t count, size_t size,
                       int (*order)(const void *, const void *), struct job *job)
{
    const struct sorting s = {count, size, order, job};
    if (count <= RUN) {
        if (count)
            qsort(items, count, size, order);
        return STATUS_OK;
    }
    char *here = items, *other = scratch_new(count, size), *made = other;
    if (!made)
        return job_fail_memory(job, count * size);
    sort_runs(&s, items, job_threads(job));
    for (size_t run = RUN; run < count && !job_cancelled(job); run *= 2) {
        merge_runs(&s, here, other, run, job_threads(job));
        char *swap = here;
        here = other;
        other = swap;
    }
    if (here != items)
        memcpy(items, here, count * size);
    scratch_free(made);
    return job_cancelled(job) ? job_fail_cancelled(job) : STATUS_OK;
}
