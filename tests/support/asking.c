#include "tests/support/asking.h"

#include <dlfcn.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

/* Weak: programs that are linked without the wrapping have no use for this file. */
bool __real_job_step(struct job *job, uint64_t steps) __attribute__((weak));
bool __real_job_cancelled(const struct job *job) __attribute__((weak));
void __real_job_phase(struct job *job, const char *title, unsigned share, uint64_t total)
    __attribute__((weak));
bool __wrap_job_step(struct job *job, uint64_t steps);
bool __wrap_job_cancelled(const struct job *job);
void __wrap_job_phase(struct job *job, const char *title, unsigned share, uint64_t total);

static struct asking *watched;

static double seconds(void)
{
    struct timespec time;
    clock_gettime(CLOCK_THREAD_CPUTIME_ID, &time);
    return (double)time.tv_sec + 1e-9 * (double)time.tv_nsec;
}

static struct asking_place place(const void *from, const void *to, const struct job *job)
{
    return (struct asking_place){from, to, atomic_load(&job->phase)};
}

static void look_at_bar(struct asking *a, double now, const void *to)
{
    struct job *job = a->job;
    double progress = job_progress(job);
    double over = (atomic_load(&job->before) + atomic_load(&job->share)) / 1e3 - 1;
    if (over > a->over) {
        a->over = over;
        a->over_at = place(a->place, to, job);
    }
    if (a->progress - progress > a->back) {
        a->back = a->progress - progress;
        a->back_at = place(a->place, to, job);
    }
    if (now - a->moved > a->still) {
        a->still = now - a->moved;
        a->still_at = place(a->moved_place, to, job);
    }
    if (progress > a->progress) {
        a->progress = progress;
        a->moved = now;
        a->moved_place = to;
    }
}

static void look(const struct job *job, const void *to)
{
    struct asking *a = watched;
    if (!a || a->job != job)
        return;
    double now = seconds();
    if (now - a->last > a->worst) {
        a->worst = now - a->last;
        a->at = place(a->place, to, job);
    }
    look_at_bar(a, now, to);
    a->last = seconds(); /* looking does not count */
    a->moved += a->last - now;
    a->place = to;
}

static _Atomic(struct asking_call *) awaited;

static void call(const struct job *job)
{
    struct asking_call *due = atomic_load(&awaited);
    if (due && due->job == job && job_progress(job) >= due->from &&
        atomic_compare_exchange_strong(&awaited, &due, NULL))
        due->make(due->context);
}

void asking_await(struct asking_call *due)
{
    atomic_store(&awaited, due);
}

bool __wrap_job_step(struct job *job, uint64_t steps)
{
    bool on = __real_job_step(job, steps);
    if (watched)
        look(job, __builtin_return_address(0));
    call(job);
    return on;
}

bool __wrap_job_cancelled(const struct job *job)
{
    if (watched)
        look(job, __builtin_return_address(0));
    bool cancelled = __real_job_cancelled(job);
    call(job);
    return cancelled;
}

/* Asks nothing, but moves the bar. */
void __wrap_job_phase(struct job *job, const char *title, unsigned share, uint64_t total)
{
    struct asking *a = watched;
    if (a && a->job == job) {
        double now = seconds();
        look_at_bar(a, now, __builtin_return_address(0));
        a->moved += seconds() - now;
    }
    __real_job_phase(job, title, share, total);
    if (a && a->job == job)
        look_at_bar(a, seconds(), __builtin_return_address(0));
}

void asking_begin(struct asking *asking, struct job *job)
{
    *asking = (struct asking){.job = job};
    asking->last = asking->moved = seconds();
    watched = asking;
}

void asking_end(struct asking *asking)
{
    look(asking->job, NULL);
    watched = NULL;
}

/* --- names -------------------------------------------------------------------------------- */

void asking_name(const void *at, char *name, size_t size)
{
    Dl_info info;
    char program[512], command[700], line[2][256] = {"", ""};
    snprintf(name, size, "%s", at ? "?" : "its beginning or end");
    ssize_t length = readlink("/proc/self/exe", program, sizeof program - 1);
    if (!at || length < 0 || !dladdr(at, &info))
        return;
    program[length] = '\0';
    size_t offset = (size_t)((const char *)at - (const char *)info.dli_fbase) - 1;
    snprintf(name, size, "%#zx", offset);
    snprintf(command, sizeof command, "addr2line -sfe '%s' %#zx 2>/dev/null", program, offset);
    FILE *tool = popen(command, "r");
    if (!tool)
        return;
    if (fgets(line[0], sizeof line[0], tool) && fgets(line[1], sizeof line[1], tool)) {
        line[0][strcspn(line[0], "\n")] = line[1][strcspn(line[1], "\n")] = '\0';
        snprintf(name, size, "%s %s", line[0], line[1]);
    }
    pclose(tool);
}
