#include "tui/lane.h"

#include <errno.h>
#include <signal.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

#include "tui/threads.h"

double seconds_now(void)
{
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    return (double)t.tv_sec + 1e-9 * (double)t.tv_nsec;
}

static void tell(int notify)
{
    char byte = 0;
    while (write(notify, &byte, 1) < 0 && errno == EINTR)
        ;
}

static void *lane_loop(void *argument)
{
    struct lane *lane = argument;
    lane->threads = threads_start(lane->threads);
    pthread_mutex_lock(&lane->lock);
    lane->state = LANE_IDLE;
    pthread_cond_broadcast(&lane->wake);
    for (;;) {
        while (lane->state != LANE_BUSY && lane->state != LANE_LEAVING)
            pthread_cond_wait(&lane->wake, &lane->lock);
        if (lane->state == LANE_LEAVING)
            break;
        pthread_mutex_unlock(&lane->lock);
        enum status status = lane->task.run(lane->task.context, &lane->job);
        pthread_mutex_lock(&lane->lock);
        lane->status = status;
        if (lane->state == LANE_BUSY)
            lane->state = LANE_FINISHED;
        tell(lane->notify);
        pthread_cond_broadcast(&lane->wake);
    }
    pthread_mutex_unlock(&lane->lock);
    return NULL;
}

bool lane_init(struct lane *lane, int notify, int threads)
{
    memset(lane, 0, sizeof *lane);
    lane->notify = notify;
    lane->threads = threads;
    lane->state = LANE_STARTING;
    job_init(&lane->job);
    pthread_mutex_init(&lane->lock, NULL);
    pthread_cond_init(&lane->wake, NULL);
    sigset_t all, old; /* signals are the screen's business */
    sigfillset(&all);
    pthread_sigmask(SIG_SETMASK, &all, &old);
    bool ok = pthread_create(&lane->thread, NULL, lane_loop, lane) == 0;
    pthread_sigmask(SIG_SETMASK, &old, NULL);
    pthread_mutex_lock(&lane->lock);
    while (ok && lane->state == LANE_STARTING)
        pthread_cond_wait(&lane->wake, &lane->lock);
    pthread_mutex_unlock(&lane->lock);
    return ok;
}

void lane_release(struct lane *lane)
{
    lane_cancel(lane);
    pthread_mutex_lock(&lane->lock);
    while (lane->state == LANE_BUSY)
        pthread_cond_wait(&lane->wake, &lane->lock);
    pthread_mutex_unlock(&lane->lock);
    lane_collect(lane);
    pthread_mutex_lock(&lane->lock);
    lane->state = LANE_LEAVING;
    pthread_cond_broadcast(&lane->wake);
    pthread_mutex_unlock(&lane->lock);
    pthread_join(lane->thread, NULL);
    pthread_mutex_destroy(&lane->lock);
    pthread_cond_destroy(&lane->wake);
    job_release(&lane->job);
}

void lane_start(struct lane *lane, struct task task)
{
    pthread_mutex_lock(&lane->lock);
    job_release(&lane->job);
    job_init(&lane->job);
    lane->job.threads = lane->threads;
    lane->task = task;
    lane->since = seconds_now();
    lane->state = LANE_BUSY;
    pthread_cond_broadcast(&lane->wake);
    pthread_mutex_unlock(&lane->lock);
}

bool lane_free(struct lane *lane)
{
    pthread_mutex_lock(&lane->lock);
    bool idle = lane->state == LANE_IDLE;
    pthread_mutex_unlock(&lane->lock);
    return idle;
}

void lane_cancel(struct lane *lane)
{
    pthread_mutex_lock(&lane->lock);
    if (lane->state == LANE_BUSY)
        atomic_store(&lane->job.cancel, true);
    pthread_mutex_unlock(&lane->lock);
}

bool lane_collect(struct lane *lane)
{
    pthread_mutex_lock(&lane->lock);
    bool finished = lane->state == LANE_FINISHED;
    if (finished)
        lane->state = LANE_IDLE;
    struct task task = lane->task;
    enum status status = lane->status;
    pthread_mutex_unlock(&lane->lock);
    if (finished)
        task.done(task.context, status, &lane->job);
    return finished;
}
