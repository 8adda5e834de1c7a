#include "tests/bench/bench.h"

#include <stdio.h>
#include <time.h>

#include "format/format.h"

static double read_clock(clockid_t clock)
{
    struct timespec time;
    clock_gettime(clock, &time);
    return (double)time.tv_sec + 1e-9 * (double)time.tv_nsec;
}

double bench_now(void)
{
    return read_clock(CLOCK_MONOTONIC);
}

double bench_cpu(void)
{
    return read_clock(CLOCK_PROCESS_CPUTIME_ID);
}

int bench_fail(const struct job *job)
{
    fprintf(stderr, "%s\n", job->message);
    return 1;
}

enum status bench_write(const struct mesh *mesh, const char *path, struct job *job)
{
    const struct write_options options = {.unit = UNIT_MM};
    struct mesh *plain = mesh_new_like(mesh);
    if (!plain)
        return STATUS_MEMORY;
    array_free(plain->attribute[ATTRIBUTE_origin]);
    plain->attribute[ATTRIBUTE_origin] = NULL;
    enum status status = file_write(plain, path, NULL, &options, job);
    mesh_free(plain);
    return status;
}
