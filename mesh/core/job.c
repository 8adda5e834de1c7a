#include "core/job.h"

#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <omp.h>

void job_init(struct job *job)
{
    memset(job, 0, sizeof *job);
}

void job_release(struct job *job)
{
    if (!job)
        return;
    free(job->notes);
    job->notes = NULL;
    job->notes_length = 0;
}

void job_phase(struct job *job, const char *title, unsigned share, uint64_t total)
{
    if (!job)
        return;
    unsigned before = atomic_load(&job->before) + atomic_load(&job->share);
    atomic_store(&job->before, before < 1000 ? before : 1000);
    atomic_store(&job->done, 0);
    atomic_store(&job->total, total);
    atomic_store(&job->share, share);
    atomic_store(&job->phase, title);
}

void job_total(struct job *job, uint64_t total)
{
    if (job)
        atomic_store(&job->total, total);
}

bool job_step(struct job *job, uint64_t steps)
{
    if (!job)
        return true;
    atomic_fetch_add_explicit(&job->done, steps, memory_order_relaxed);
    return !atomic_load_explicit(&job->cancel, memory_order_relaxed);
}

bool job_cancelled(const struct job *job)
{
    return job && atomic_load_explicit(&job->cancel, memory_order_relaxed);
}

void job_maps(struct job *job, const void *data, size_t size)
{
    if (!job)
        return;
    atomic_store(&job->mapped, NULL);
    atomic_store(&job->mapped_size, size);
    atomic_store(&job->mapped, (const unsigned char *)data);
}

bool job_lost_page(struct job *job, const void *at, const void **end)
{
    const unsigned char *data = job ? atomic_load(&job->mapped) : NULL;
    size_t size = data ? atomic_load(&job->mapped_size) : 0;
    if (!data || (const unsigned char *)at < data || (const unsigned char *)at >= data + size)
        return false;
    atomic_store(&job->mapped_lost, true);
    *end = data + size;
    return true;
}

enum { MILLIONTHS = 1000000 };

/* Phases count from zero between `from` and `to`, millionths of everything. */
static void begin_part(struct job *job, uint64_t from, uint64_t to)
{
    atomic_store(&job->before, 0);
    atomic_store(&job->share, 0);
    atomic_store(&job->done, 0);
    atomic_store(&job->total, 0);
    atomic_store(&job->base, (unsigned)from);
    atomic_store(&job->span, to > from ? (unsigned)(to - from) : 1);
}

struct job_part job_part(struct job *job, size_t i, size_t count)
{
    if (!job)
        return (struct job_part){0};
    unsigned base = atomic_load(&job->base), own = atomic_load(&job->span);
    uint64_t span = own ? own : MILLIONTHS;
    begin_part(job, base + span * i / count, base + span * (i + 1) / count);
    return (struct job_part){0, 1000, base, own, i + 1, count};
}

struct job_part job_stage(struct job *job, unsigned share)
{
    if (!job)
        return (struct job_part){0};
    unsigned base = atomic_load(&job->base), own = atomic_load(&job->span);
    unsigned before = atomic_load(&job->before) + atomic_load(&job->share);
    before = before < 1000 ? before : 1000;
    uint64_t span = own ? own : MILLIONTHS, after = before + share;
    begin_part(job, base + span * before / 1000,
               base + span * (after < 1000 ? after : 1000) / 1000);
    return (struct job_part){before, share, base, own, 1, 1};
}

/* The part is done, and the bar stays where it ended. */
void job_part_end(struct job *job, struct job_part outer)
{
    if (!job)
        return;
    atomic_store(&job->before, outer.before);
    atomic_store(&job->share, outer.share);
    atomic_store(&job->done, outer.done);
    atomic_store(&job->total, outer.total);
    atomic_store(&job->base, outer.base);
    atomic_store(&job->span, outer.span);
}

double job_progress(const struct job *job)
{
    if (!job)
        return 0;
    double done = (double)atomic_load(&job->done), total = (double)atomic_load(&job->total);
    double phase = total > 0 ? done / total : 0;
    double part = (atomic_load(&job->before) + fmin(phase, 1) * atomic_load(&job->share)) / 1e3;
    double base = atomic_load(&job->base) / (double)MILLIONTHS;
    double span = atomic_load(&job->span) / (double)MILLIONTHS;
    return fmin(1, base + fmin(part, 1) * (span > 0 ? span : 1));
}

int job_threads(const struct job *job)
{
    return job && job->threads > 0 ? job->threads : omp_get_num_procs();
}

enum status job_fail(struct job *job, enum status status, const char *format, ...)
{
    if (!job || job->status != STATUS_OK)
        return status;
    job->status = status;
    va_list list;
    va_start(list, format);
    vsnprintf(job->message, sizeof job->message, format, list);
    va_end(list);
    return status;
}

enum status job_fail_memory(struct job *job, size_t bytes)
{
    return job_fail(job, STATUS_MEMORY,
                    "out of memory: %.1f MiB more were needed; close other programs, or reduce the "
                    "mesh on a bigger machine first",
                    (double)bytes / 1048576.0);
}

enum status job_fail_cancelled(struct job *job)
{
    return job_fail(job, STATUS_CANCELLED, "cancelled; nothing was changed");
}

enum status job_status(const struct job *job)
{
    return job && job->status != STATUS_OK ? job->status : STATUS_MEMORY;
}

void job_forgive(struct job *job)
{
    if (!job)
        return;
    job->status = STATUS_OK;
    job->message[0] = '\0';
}

void job_note(struct job *job, const char *format, ...)
{
    if (!job)
        return;
    char line[1024];
    va_list list;
    va_start(list, format);
    int length = vsnprintf(line, sizeof line - 1, format, list);
    va_end(list);
    if (length < 0)
        return;
    size_t n = (size_t)length < sizeof line - 2 ? (size_t)length : sizeof line - 2;
    line[n++] = '\n';
    char *notes = realloc(job->notes, job->notes_length + n + 1);
    if (!notes)
        return; /* a note is not worth failing for */
    memcpy(notes + job->notes_length, line, n);
    notes[job->notes_length + n] = '\0';
    job->notes = notes;
    job->notes_length += n;
}
