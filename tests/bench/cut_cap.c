/* Cutting a mesh with a slanted plane near its middle and capping the cut. */
#include <stdio.h>
#include <stdlib.h>

#include "core/job.h"
#include "format/format.h"
#include "solid/cut.h"
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
    const struct cut_plane plane = {{1, -2, 3}, {-0.3651483717, -0.1825741858, -0.9128709292}};
    struct mesh *half = NULL;
    struct cut_report report;
    double start = bench_now();
    enum status status = cut_mesh(file.mesh, &plane, true, &half, &report, &job);
    double end = bench_now();
    const struct write_options options = {.unit = UNIT_MM};
    if (status == STATUS_OK && count > 1)
        status = file_write(half, argument[1], NULL, &options, &job);
    if (status != STATUS_OK)
        return bench_fail(&job);
    printf("@@{\"wall_s\": %.4f, \"triangles\": %zu, \"split\": %zu, \"contours\": %zu, "
           "\"caps\": %zu, \"cap_area\": %.4f, \"open_edges\": %zu}\n",
           end - start, mesh_triangles(half), report.split, report.contours, report.caps,
           report.cap_area, report.open_edges);
    mesh_free(half);
    file_release(&file);
    return 0;
}

const struct bench_task bench_cut_cap = {"cut_cap", "FILE [OUT [THREADS]]",
                                         "cutting with a plane near the middle, and capping", run};
