/* The benchmark's tasks: one file a task, one row in tasks.def. */
#ifndef FETTLE_TESTS_BENCH_H
#define FETTLE_TESTS_BENCH_H

#include "core/job.h"
#include "core/mesh.h"

struct bench_task {
    const char *name;      /* what one types: "load_weld" */
    const char *arguments; /* "FILE" */
    const char *help;      /* what is timed */
    /* Gets the arguments behind the task's name; prints one line "@@{\"wall_s\": ...}" with the
     * seconds of the operation alone. Returns the exit status; 2: the arguments are wrong. */
    int (*run)(int count, char **argument);
};

/* Seconds from some fixed moment. */
double bench_now(void);

/* Processor seconds of all threads so far: what wall time cannot say on a busy machine. */
double bench_cpu(void);

/* Prints the job's message; the exit status of that. */
int bench_fail(const struct job *job);

/* Writes what the judges of a harness read: positions and triangles, not where they came from. */
enum status bench_write(const struct mesh *mesh, const char *path, struct job *job);

#endif
