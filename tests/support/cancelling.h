/* Cancels a job midway, and tells how long that took to be answered, in the process's own time, so
 * that it does not depend on what else the machine does. */
#ifndef FETTLE_TESTS_SUPPORT_CANCELLING_H
#define FETTLE_TESTS_SUPPORT_CANCELLING_H

#include <pthread.h>

#include "core/job.h"

struct cancelling {
    struct job *job;
    double until; /* progress at which it cancels */
    double work;  /* seconds of the process then */
    pthread_t thread;
};

/* Seconds of work of all threads of the process so far. */
double cancelling_seconds(void);

void cancelling_begin(struct cancelling *c, struct job *job, double until);

/* When the job has ended: it must have been cancelled, and no thread may have worked for more than
 * 0.1 s since; three times that under a sanitizer, which makes programs slower. */
void cancelling_end(struct cancelling *c);

#endif
