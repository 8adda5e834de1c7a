#include "tests/support/cancelling.h"

#include <check.h>
#include <time.h>

double cancelling_seconds(void)
{
    struct timespec time;
    clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &time);
    return (double)time.tv_sec + 1e-9 * (double)time.tv_nsec;
}

static void *cancel_midway(void *context)
{
    struct cancelling *c = context;
    while (job_progress(c->job) < c->until)
        nanosleep(&(struct timespec){0, 200000}, NULL);
    c->work = cancelling_seconds();
    atomic_store(&c->job->cancel, true);
    return NULL;
}

void cancelling_begin(struct cancelling *c, struct job *job, double until)
{
    *c = (struct cancelling){.job = job, .until = until};
    ck_assert_int_eq(pthread_create(&c->thread, NULL, cancel_midway, c), 0);
}

void cancelling_end(struct cancelling *c)
{
    double after = cancelling_seconds();
    pthread_join(c->thread, NULL);
    ck_assert_int_eq(c->job->status, STATUS_CANCELLED);
#ifdef __SANITIZE_ADDRESS__
    const double most = 0.3;
#else
    const double most = 0.1;
#endif
    ck_assert_double_le(after - c->work, most * job_threads(c->job));
}
