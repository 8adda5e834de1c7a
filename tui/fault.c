#include "tui/fault.h"

#include <signal.h>
#include <stdatomic.h>
#include <stddef.h>
#include <stdint.h>
#include <sys/mman.h>
#include <unistd.h>

#include "core/job.h"

static _Atomic(struct job *) watched[FAULT_PLACES]; /* a handler can be told nothing else */

static bool fill(const void *at, const void *end)
{
    uintptr_t page = (uintptr_t)sysconf(_SC_PAGESIZE), from = (uintptr_t)at / page * page;
    return mmap((void *)from, (uintptr_t)end - from, PROT_READ,
                MAP_PRIVATE | MAP_ANONYMOUS | MAP_FIXED, -1, 0) != MAP_FAILED;
}

static void on_fault(int number, siginfo_t *info, void *context)
{
    (void)context;
    const void *end;
    for (int i = 0; i < FAULT_PLACES; i++)
        if (job_lost_page(atomic_load(&watched[i]), info->si_addr, &end) &&
            fill(info->si_addr, end))
            return;          /* the read that failed is tried again, and finds zeros */
    signal(number, SIG_DFL); /* tried again, it ends the program as it should */
}

void fault_begin(void)
{
    struct sigaction act = {.sa_sigaction = on_fault, .sa_flags = SA_SIGINFO};
    sigemptyset(&act.sa_mask);
    sigaction(SIGBUS, &act, NULL);
}

void fault_watch(enum fault_place place, struct job *job)
{
    atomic_store(&watched[place], job);
}
