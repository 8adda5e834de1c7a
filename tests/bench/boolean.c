/* Taking one solid out of another. */
#include <stdio.h>
#include <stdlib.h>

#include "core/job.h"
#include "format/format.h"
#include "solid/boolean.h"
#include "tests/bench/bench.h"

static int run(int count, char **argument)
{
    if (count < 2)
        return 2;
    struct job job;
    job_init(&job);
    job.threads = count > 3 ? atoi(argument[3]) : 0;
    struct file a, b;
    if (file_read(argument[0], UNIT_NONE, &a, &job) != STATUS_OK ||
        file_read(argument[1], UNIT_NONE, &b, &job) != STATUS_OK)
        return bench_fail(&job);
    struct mesh *out = NULL;
    struct boolean_report report;
    double start = bench_now();
    enum status status = boolean_mesh(a.mesh, b.mesh, BOOLEAN_SUBTRACT, &out, &report, &job);
    double first = bench_now();
    mesh_free(out);
    out = NULL;
    if (status == STATUS_OK) /* what is derived from the meshes is there now, as at the screen */
        status = boolean_mesh(a.mesh, b.mesh, BOOLEAN_SUBTRACT, &out, &report, &job);
    double again = bench_now();
    const struct write_options options = {.unit = UNIT_MM};
    if (status == STATUS_OK && count > 2)
        status = file_write(out, argument[2], NULL, &options, &job);
    if (status != STATUS_OK)
        return bench_fail(&job);
    printf("@@{\"wall_s\": %.4f, \"again_s\": %.4f, \"triangles\": %zu, \"crossed\": %zu, "
           "\"made\": %zu, \"crossings\": %llu}\n",
           first - start, again - first, mesh_triangles(out), report.crossed[0] + report.crossed[1],
           report.made, (unsigned long long)report.crossings);
    mesh_free(out);
    file_release(&a);
    file_release(&b);
    return 0;
}

const struct bench_task bench_boolean = {"boolean", "FILE TOOL [OUT [THREADS]]",
                                         "taking one solid out of another", run};
