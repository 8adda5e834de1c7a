#include "tests/support/runners.h"

#include <sched.h>
#include <signal.h>
#include <stdlib.h>
#include <sys/prctl.h>
#include <unistd.h>

enum { MANY = 8 };
static const long each = 1L << 30; /* bytes; the largest test takes 400 million */

int runners_wanted(int most)
{
    const char *given = getenv("FETTLE_RUNNERS");
    cpu_set_t cores;
    long runners = sched_getaffinity(0, sizeof cores, &cores) == 0 ? CPU_COUNT(&cores) : 1;
    long room = sysconf(_SC_PHYS_PAGES) / (each / sysconf(_SC_PAGESIZE));
    runners = runners < room ? runners : room;
    runners = runners < MANY ? runners : MANY;
    if (given && *given)
        runners = atol(given);
    runners = runners < most ? runners : most;
    return runners > 1 ? (int)runners : 1;
}

void runners_end_with(int parent)
{
    prctl(PR_SET_PDEATHSIG, SIGTERM);
    if (getppid() != parent)
        exit(EXIT_FAILURE);
}
