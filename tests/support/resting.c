#include "tests/support/resting.h"

#include <dirent.h>
#include <stdio.h>
#include <string.h>
#include <sys/syscall.h>

/* What the threads of a process are at, beginning with what decides. */
enum state { AWAKE, STOPPED, SLEEPS_A_WHILE, SLEEPS_SOMEHOW, SLEEPS_ON };

static FILE *told_of(pid_t pid, const char *task, const char *what)
{
    char path[300];
    snprintf(path, sizeof path, "/proc/%d/task/%.20s/%s", pid, task, what);
    return fopen(path, "r");
}

/* How a sleeping thread was put to sleep: the call and its arguments, which only who may trace the
 * process is told. */
static enum state sleep_of(pid_t pid, const char *task)
{
    static const int soon = 2000; /* ms: the screen waits longer only for a slow terminal's word */
    unsigned long a[4];
    long call;
    FILE *file = told_of(pid, task, "syscall");
    int n = file ? fscanf(file, "%ld %lx %lx %lx %lx", &call, &a[0], &a[1], &a[2], &a[3]) : 0;
    if (file)
        fclose(file);
    if (n != 5)
        return SLEEPS_SOMEHOW;
#ifdef SYS_poll
    /* After a stop a poll goes on as the second of them, its arguments where they were; of the
     * calls that do so the screen makes no other. */
    if (call == SYS_poll || call == SYS_restart_syscall)
        return (int)a[2] < 0 || (int)a[2] > soon ? SLEEPS_ON : SLEEPS_A_WHILE;
#endif
    if (call == SYS_futex)
        return a[3] == 0 ? SLEEPS_ON : SLEEPS_A_WHILE;
    return SLEEPS_SOMEHOW;
}

/* Adds how often it has gone to sleep. */
static enum state state_of(pid_t pid, const char *task, unsigned long *times)
{
    char line[256], letter = 'R';
    unsigned long count;
    FILE *status = told_of(pid, task, "status");
    while (status && fgets(line, sizeof line, status)) {
        sscanf(line, "State: %c", &letter);
        if (sscanf(line, "voluntary_ctxt_switches: %lu", &count) == 1)
            *times += count;
    }
    if (status)
        fclose(status);
    return letter == 'T' ? STOPPED : letter == 'S' ? sleep_of(pid, task) : AWAKE;
}

static enum state look(pid_t pid, unsigned long *times)
{
    char path[64];
    enum state least = SLEEPS_ON;
    snprintf(path, sizeof path, "/proc/%d/task", pid);
    DIR *tasks = opendir(path);
    *times = 0;
    for (struct dirent *e; tasks && (e = readdir(tasks));) {
        if (e->d_name[0] == '.')
            continue;
        enum state state = state_of(pid, e->d_name, times);
        least = state < least ? state : least;
    }
    if (tasks)
        closedir(tasks);
    return tasks ? least : AWAKE;
}

/* A thread that sleeps now, and has not gone to sleep since the look before, slept all the time
 * between; so at one time at least all of them did, and nobody was there to wake another. */
bool resting(struct resting *r, pid_t pid)
{
    enum { ENOUGH = 40 }; /* looks, where it is not known whether a thread sleeps but a while */
    unsigned long times;
    enum state state = look(pid, &times);
    bool on = r->looks > 0 && times == r->times && state >= SLEEPS_SOMEHOW;
    r->looks = on ? r->looks + 1 : 1;
    r->times = times;
    return on && (state == SLEEPS_ON || r->looks >= ENOUGH);
}

bool resting_stopped(pid_t pid)
{
    unsigned long times;
    return look(pid, &times) == STOPPED;
}
