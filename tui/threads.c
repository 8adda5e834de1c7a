#include "tui/threads.h"

#include <pthread.h>
#include <stdatomic.h>
#include <stdbool.h>

#include "core/job.h"

static void *wait_for_lock(void *lock)
{
    pthread_mutex_lock(lock);
    pthread_mutex_unlock(lock);
    return NULL;
}

/* Whether so many threads more can be had at once. */
static bool are_there(int more)
{
    enum { MOST = 255 };
    pthread_t thread[MOST];
    pthread_mutex_t lock = PTHREAD_MUTEX_INITIALIZER;
    int n = 0;
    more = more < MOST ? more : MOST;
    pthread_mutex_lock(&lock);
    while (n < more && pthread_create(&thread[n], NULL, wait_for_lock, &lock) == 0)
        n++;
    pthread_mutex_unlock(&lock);
    for (int i = 0; i < n; i++)
        pthread_join(thread[i], NULL);
    return n == more;
}

int threads_start(int wanted)
{
    const struct job job = {.threads = wanted};
    int threads = job_threads(&job);
    atomic_int here = 0;
    if (!are_there(threads - 1))
        return 1;
#pragma omp parallel num_threads(threads)
    atomic_fetch_add(&here, 1);
    return wanted;
}
