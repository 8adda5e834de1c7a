#include "tests/support/cancelling.h"

#include <check.h>
#include <math.h>
#include <time.h>

enum { TIMES = 4 };
#ifdef __SANITIZE_ADDRESS__
static const double most = 0.3;
#else
static const double most = 0.1;
#endif

double cancelling_seconds(void)
{
    struct timespec time;
    clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &time);
    return (double)time.tv_sec + 1e-9 * (double)time.tv_nsec;
}

static void cancel(void *context)
{
    struct cancelling *c = context;
    c->work = cancelling_seconds();
    atomic_store(&c->job->cancel, true);
}

static void begin(struct cancelling *c)
{
    job_init(c->job);
    c->call = (struct asking_call){c->job, c->from, cancel, c};
    c->times++;
    asking_await(&c->call);
}

static void end(struct cancelling *c)
{
    double took = (cancelling_seconds() - c->work) / job_threads(c->job);
    asking_await(NULL);
    ck_assert_int_eq(c->job->status, STATUS_CANCELLED);
    c->least = c->times > 1 ? fmin(c->least, took) : took;
    job_release(c->job);
}

bool cancelling_again(struct cancelling *c)
{
    if (c->times)
        end(c);
    bool again = !c->times || (c->least > most && c->times < TIMES);
    if (again)
        begin(c);
    else
        ck_assert_double_le(c->least, most);
    return again;
}
