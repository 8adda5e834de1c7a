/* Decimation of a mesh file to a share of its triangles; the result is written for the judge. */
#include <stdio.h>
#include <stdlib.h>

#include "core/job.h"
#include "format/format.h"
#include "surface/decimate.h"
#include "tests/bench/bench.h"

static enum status measure(const struct file *file, const char *out, double share, struct job *job)
{
    struct decimate_options options = {.to = (size_t)(share * (double)mesh_triangles(file->mesh))};
    double start = bench_now();
    struct mesh *made = decimate(file->mesh, &options, job);
    double end = bench_now();
    if (!made)
        return job_status(job);
    printf("@@{\"wall_s\": %.4f, \"in_triangles\": %zu, \"out_triangles\": %zu}\n", end - start,
           mesh_triangles(file->mesh), mesh_triangles(made));
    const struct write_options options_out = {.unit = UNIT_MM};
    enum status status = file_write(made, out, NULL, &options_out, job);
    mesh_free(made);
    return status;
}

static int run(int count, char **argument)
{
    struct job job;
    struct file file;
    double share = count == 3 ? atof(argument[2]) : 0;
    if (!(share > 0))
        return 2;
    job_init(&job);
    enum status status = file_read(argument[0], UNIT_NONE, &file, &job);
    if (status == STATUS_OK) {
        status = measure(&file, argument[1], share, &job);
        file_release(&file);
    }
    if (status != STATUS_OK)
        fprintf(stderr, "%s\n", job.message);
    job_release(&job);
    return status == STATUS_OK ? 0 : 1;
}

const struct bench_task bench_decimate = {"decimate", "IN OUT SHARE",
                                          "decimation to a share of the triangles", run};
