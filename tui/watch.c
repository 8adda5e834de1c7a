#include "tui/watch.h"

#include <errno.h>
#include <pthread.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/ioctl.h>
#include <time.h>
#include <unistd.h>

#include "tui/fault.h"
#include "tui/text.h"

enum { SHOW_AFTER = 300, SHOW_EVERY = 100, PATIENCE = 2000 }; /* ms */

struct watch {
    pthread_t thread;
    pthread_mutex_t lock; /* over all that follows */
    struct job *job;
    const char *about;
    int64_t begun;     /* when the job began, ms */
    int64_t cancelled; /* when it was cancelled, ms; 0: not */
    double shown;      /* progress never goes back */
    int columns;       /* of the line that is on the terminal; 0: none */
    bool draws, over;
};

static int64_t now(void)
{
    struct timespec time;
    clock_gettime(CLOCK_MONOTONIC, &time);
    return (int64_t)time.tv_sec * 1000 + time.tv_nsec / 1000000;
}

static int terminal_columns(void)
{
    struct winsize size;
    bool known = ioctl(STDERR_FILENO, TIOCGWINSZ, &size) == 0 && size.ws_col > 20;
    return known ? size.ws_col : TEXT_WIDTH;
}

/* Blanks rather than an escape sequence: every terminal knows them. */
static void clear(struct watch *watch)
{
    if (watch->columns)
        fprintf(stderr, "\r%*s\r", watch->columns, "");
    watch->columns = 0;
    fflush(stderr);
}

static void draw(struct watch *watch)
{
    const char *phase = atomic_load(&watch->job->phase);
    double progress = job_progress(watch->job);
    watch->shown = progress > watch->shown ? progress : watch->shown;
    char line[512];
    int percent = (int)(100 * watch->shown);
    int n =
        snprintf(line, sizeof line, "%3d %% %s%s%s", percent, watch->cancelled ? "stopping: " : "",
                 phase ? phase : "working", watch->about ? ": " : "");
    snprintf(line + n, sizeof line - (size_t)n, "%s", watch->about ? watch->about : "");
    text_tame(line, false);
    const char *end = line;
    size_t bytes = text_line(&end, terminal_columns() - 1);
    int columns = text_columns(line, bytes);
    int rest = watch->columns > columns ? watch->columns - columns : 0;
    fprintf(stderr, "\r%.*s%*s", (int)bytes, line, rest, "");
    fflush(stderr);
    watch->columns = columns;
}

static void wanted_to_stop(struct watch *watch)
{
    /* Somebody who asks again after a while does not want to wait for good manners. */
    if (watch->cancelled && now() - watch->cancelled > PATIENCE)
        _exit(status_exit(STATUS_CANCELLED));
    if (!watch->cancelled)
        watch->cancelled = now();
    if (watch->job)
        atomic_store(&watch->job->cancel, true);
}

static void signals(sigset_t *set)
{
    sigemptyset(set);
    sigaddset(set, SIGINT);
    sigaddset(set, SIGTERM);
    sigaddset(set, SIGHUP);
}

static void *watch_thread(void *context)
{
    struct watch *watch = context;
    const struct timespec wait = {.tv_nsec = SHOW_EVERY * 1000000L};
    sigset_t set;
    signals(&set);
    for (bool over = false; !over;) {
        int signal = sigtimedwait(&set, NULL, &wait);
        pthread_mutex_lock(&watch->lock);
        over = watch->over;
        if (signal > 0 && !over)
            wanted_to_stop(watch);
        if (!over && watch->draws && watch->job && now() - watch->begun >= SHOW_AFTER)
            draw(watch);
        pthread_mutex_unlock(&watch->lock);
    }
    return NULL;
}

static bool start(struct watch *watch)
{
    pthread_attr_t small; /* it needs little, and --memory counts stacks */
    if (pthread_attr_init(&small) != 0)
        return false;
    bool ok = pthread_attr_setstacksize(&small, 128 * 1024) == 0 &&
              pthread_create(&watch->thread, &small, watch_thread, watch) == 0;
    pthread_attr_destroy(&small);
    return ok;
}

struct watch *watch_begin(bool quiet)
{
    struct watch *watch = calloc(1, sizeof *watch);
    sigset_t set;
    if (!watch)
        return NULL;
    watch->draws = !quiet && isatty(STDERR_FILENO);
    pthread_mutex_init(&watch->lock, NULL);
    signals(&set);
    pthread_sigmask(SIG_BLOCK, &set, NULL); /* the thread takes them, and no other */
    if (start(watch))
        return watch;
    pthread_sigmask(SIG_UNBLOCK, &set, NULL);
    pthread_mutex_destroy(&watch->lock);
    free(watch);
    return NULL;
}

void watch_end(struct watch *watch)
{
    if (!watch)
        return;
    watch_job(watch, NULL, NULL);
    pthread_mutex_lock(&watch->lock);
    watch->over = true;
    pthread_mutex_unlock(&watch->lock);
    pthread_kill(watch->thread, SIGHUP); /* wakes it from its wait */
    pthread_join(watch->thread, NULL);
    pthread_mutex_destroy(&watch->lock);
    free(watch);
}

void watch_job(struct watch *watch, struct job *job, const char *about)
{
    if (!watch)
        return;
    pthread_mutex_lock(&watch->lock);
    clear(watch);
    fault_watch(FAULT_COMMAND, job);
    watch->job = job;
    watch->about = about;
    watch->begun = now();
    watch->shown = 0;
    if (job && watch->cancelled)
        atomic_store(&job->cancel, true);
    pthread_mutex_unlock(&watch->lock);
}

void watch_hush(struct watch *watch)
{
    if (!watch)
        return;
    pthread_mutex_lock(&watch->lock);
    clear(watch);
}

void watch_go_on(struct watch *watch)
{
    if (watch)
        pthread_mutex_unlock(&watch->lock);
}

bool watch_cancelled(struct watch *watch)
{
    if (!watch)
        return false;
    pthread_mutex_lock(&watch->lock);
    bool cancelled = watch->cancelled;
    pthread_mutex_unlock(&watch->lock);
    return cancelled;
}
