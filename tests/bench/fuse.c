/* Fusing scans that lie registered; the result is written for the judge. */
#include <stdio.h>
#include <stdlib.h>

#include "core/job.h"
#include "format/format.h"
#include "scan/fuse.h"
#include "tests/bench/bench.h"

enum { FILES_MOST = 64 };

static enum status measure(struct file *file, size_t count, const char *out, struct job *job)
{
    const struct fuse_options options = {.closed = true};
    const struct mesh *piece[FILES_MOST];
    for (size_t i = 0; i < count; i++)
        piece[i] = file[i].mesh;
    struct mesh *made = NULL;
    struct fuse_report report;
    double start = bench_now(), cpu = bench_cpu();
    enum status status = fuse(piece, count, &options, &made, &report, NULL, job);
    if (status != STATUS_OK)
        return status;
    printf("@@{\"wall_s\": %.4f, \"cpu_s\": %.4f, \"samples\": %zu, \"triangles\": %zu, "
           "\"spacing\": %.4f, \"invented\": %.5f, \"reverted\": %zu}\n",
           bench_now() - start, bench_cpu() - cpu, report.samples, mesh_triangles(made),
           report.spacing, report.area > 0 ? report.invented / report.area : 0, report.reverted);
    status = bench_write(made, out, job);
    mesh_free(made);
    return status;
}

static int run(int count, char **argument)
{
    struct file file[FILES_MOST];
    size_t files = 0;
    if (count < 2 || count > FILES_MOST)
        return 2;
    struct job job;
    job_init(&job);
    enum status status = STATUS_OK;
    for (; files + 1 < (size_t)count && status == STATUS_OK; files++)
        status = file_read(argument[files + 1], UNIT_NONE, &file[files], &job);
    if (status == STATUS_OK)
        status = measure(file, files, argument[0], &job);
    else
        files--;
    for (size_t i = 0; i < files; i++)
        file_release(&file[i]);
    if (status != STATUS_OK)
        fprintf(stderr, "%s\n", job.message);
    job_release(&job);
    return status == STATUS_OK ? 0 : 1;
}

const struct bench_task bench_fuse = {"fuse", "OUT IN...",
                                      "one closed surface from registered scans", run};
