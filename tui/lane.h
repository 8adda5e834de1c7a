/* A lane: one background thread that does one task at a time, so that the keyboard never waits.
 *
 * The screen has three: work (operations), study (inspection, the moving stand-in) and paint (the
 * picture). A finished task writes one byte to the pipe that the screen polls; the screen then
 * calls lane_collect, and the task's `done` runs in the screen's thread, the only one that knows
 * curses and the program's state. */
#ifndef FETTLE_TUI_LANE_H
#define FETTLE_TUI_LANE_H

#include <pthread.h>
#include <stdbool.h>

#include "core/job.h"

struct task {
    enum status (*run)(void *context, struct job *job);               /* in the lane's thread */
    void (*done)(void *context, enum status status, struct job *job); /* in the screen's thread;
                                                                         frees the context */
    void *context;
};

struct lane {
    pthread_t thread;
    pthread_mutex_t lock;
    pthread_cond_t wake;
    struct task task;
    struct job job;
    enum status status;
    enum { LANE_STARTING, LANE_IDLE, LANE_BUSY, LANE_FINISHED, LANE_LEAVING } state;
    int notify; /* file descriptor to write to */
    int threads;
    double since; /* when the task began, seconds of the monotonic clock */
};

/* Starts the thread, and those that its loops will use (without memory for them it works alone);
 * finished tasks write a byte to `notify`. False when there is no thread. */
bool lane_init(struct lane *lane, int notify, int threads);

/* Cancels what runs, waits for it, and runs its `done`. */
void lane_release(struct lane *lane);

/* Gives the lane a task. Only while lane_free. */
void lane_start(struct lane *lane, struct task task);

/* Whether it has neither a running nor an uncollected task. */
bool lane_free(struct lane *lane);

/* Asks the running task to stop; its `done` still comes, with STATUS_CANCELLED. */
void lane_cancel(struct lane *lane);

/* Runs the `done` of a finished task. True when there was one. */
bool lane_collect(struct lane *lane);

/* Seconds of the monotonic clock. */
double seconds_now(void);

#endif
