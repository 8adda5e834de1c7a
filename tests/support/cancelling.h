/* Cancels a job midway, and tells how long that took to be answered, in the process's own time, so
 * that it depends as little as can be on what else the machine does. */
#ifndef FETTLE_TESTS_SUPPORT_CANCELLING_H
#define FETTLE_TESTS_SUPPORT_CANCELLING_H

#include "core/job.h"
#include "tests/support/asking.h"

struct cancelling {
    struct job *job;
    double from; /* the progress at which it is cancelled, right after it was asked */
    /* inside: */
    struct asking_call call;
    double work, least;
    int times;
};

/* Seconds of work of all threads of the process so far. */
double cancelling_seconds(void);

/* Begins with {.job, .from}: while (cancelling_again(&c)) the work is to be done with the job, which
 * is begun anew each time. It must have been cancelled, and no thread may have worked for more than
 * 0.1 s since; three times that under a sanitizer, which makes programs slower. A machine that
 * others use adds to such a time: the least of some counts. */
bool cancelling_again(struct cancelling *c);

#endif
