/* Filling all holes of a mesh smoothly. */
#include <stdio.h>
#include <stdlib.h>

#include "core/job.h"
#include "core/topology.h"
#include "format/format.h"
#include "surface/fill.h"
#include "tests/bench/bench.h"

static int run(int count, char **argument)
{
    if (count < 1)
        return 2;
    struct job job;
    job_init(&job);
    job.threads = count > 2 ? atoi(argument[2]) : 0;
    struct file file;
    if (file_read(argument[0], UNIT_NONE, &file, &job) != STATUS_OK)
        return bench_fail(&job);
    const struct fill_options options = {.shape = FILL_SMOOTH};
    struct mesh *filled = NULL;
    struct fill_report report;
    double start = bench_now(), paired = start;
    if (mesh_topology(file.mesh, &job)) /* connectivity is part of what is timed */
        paired = bench_now();
    enum status status = fill_holes(file.mesh, &options, &filled, &report, &job);
    double end = bench_now();
    if (status == STATUS_OK && count > 1)
        status = bench_write(filled, argument[1], &job);
    if (status != STATUS_OK)
        return bench_fail(&job);
    printf("@@{\"wall_s\": %.4f, \"topology_s\": %.4f, \"holes\": %zu, \"left\": %zu, "
           "\"rough\": %zu, \"new_vertices\": %zu, \"new_triangles\": %zu, \"area\": %.4f}\n",
           end - start, paired - start, report.filled,
           report.left[FILL_LEFT_LONGER] + report.left[FILL_LEFT_UNENDED] +
               report.left[FILL_LEFT_DOUBLE],
           report.rough, report.vertices, report.triangles, report.area);
    mesh_free(filled);
    file_release(&file);
    return 0;
}

const struct bench_task bench_fill_holes = {"fill_holes", "FILE [OUT [THREADS]]",
                                            "connectivity, and filling all holes smoothly", run};
