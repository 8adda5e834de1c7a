/* Watches how a job is asked whether it was cancelled, and how its progress goes on: job_step,
 * job_cancelled and job_phase are wrapped by the linker (tests/build.mk) in the unit tests. */
#ifndef FETTLE_TESTS_SUPPORT_ASKING_H
#define FETTLE_TESTS_SUPPORT_ASKING_H

#include "core/job.h"

struct asking_place {
    const void *from, *to; /* where it asked before and after; NULL: the beginning, the end */
    const char *phase;     /* in which it was; NULL: none yet */
};

struct asking {
    struct job *job;
    double worst; /* s of the thread's own work between two askings, the most */
    struct asking_place at;
    double still; /* s of work during which the bar stood, the most */
    struct asking_place still_at;
    double back; /* how far the bar went back, the most */
    struct asking_place back_at;
    double over; /* how much more than the whole of a work its phases are thought to take */
    struct asking_place over_at;
    /* inside: */
    double last, moved, progress;
    const void *place, *moved_place;
};

/* Of work done by this thread: have the job use one. */
void asking_begin(struct asking *asking, struct job *job);
void asking_end(struct asking *asking);

/* Something to be done the first time that the job is asked at a progress of `from` or more, by the
 * thread that asks: just after, so that it has its way to the next asking before it. */
struct asking_call {
    struct job *job;
    double from;
    void (*make)(void *context);
    void *context;
};
void asking_await(struct asking_call *call); /* NULL: no more */

/* "function file:line" of a place, where addr2line can tell; else its offset in the program. */
void asking_name(const void *place, char *name, size_t size);

#endif
