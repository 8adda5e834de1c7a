/* Whether another process has anything to do, by what the system tells of its threads. */
#ifndef FETTLE_TESTS_SUPPORT_RESTING_H
#define FETTLE_TESTS_SUPPORT_RESTING_H

#include <stdbool.h>
#include <sys/types.h>

struct resting {
    unsigned long times; /* its threads have gone to sleep, by the last look */
    int looks;           /* that found it asleep, one after the other */
};

/* Begins with {0}; called again and again, true once nothing in the process has run from one look
 * to the next and nothing will until somebody wakes it: by a key, a signal. Where the system does
 * not tell how long a thread will sleep, it must have slept through many looks, a hundredth of a
 * second apart. */
bool resting(struct resting *resting, pid_t pid);

/* Whether all of it has been stopped by a signal. */
bool resting_stopped(pid_t pid);

#endif
