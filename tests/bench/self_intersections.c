/* True self-intersection, the building of the tree included. */
#include <stdio.h>
#include <stdlib.h>

#include "core/crossings.h"
#include "core/job.h"
#include "core/tree.h"
#include "format/format.h"
#include "tests/bench/bench.h"

static int run(int count, char **argument)
{
    struct job job;
    struct file file;
    job_init(&job);
    job.threads = count > 1 ? atoi(argument[1]) : 0;
    if (count < 1)
        return 2;
    if (file_read(argument[0], UNIT_NONE, &file, &job) != STATUS_OK) {
        fprintf(stderr, "%s\n", job.message);
        return 1;
    }
    struct crossing *pairs;
    size_t kept;
    uint64_t found;
    double start = bench_now();
    const struct tree *tree = mesh_tree(file.mesh, &job);
    double built = bench_now();
    enum status status =
        tree ? crossings_find(file.mesh, 4096, &pairs, &kept, &found, &job) : job_status(&job);
    double end = bench_now();
    if (status == STATUS_OK) {
        printf("@@{\"wall_s\": %.4f, \"build_s\": %.4f, \"pairs\": %llu, \"triangles\": %zu}\n",
               end - start, built - start, (unsigned long long)found, mesh_triangles(file.mesh));
        free(pairs);
    }
    file_release(&file);
    job_release(&job);
    return status == STATUS_OK ? 0 : 1;
}

const struct bench_task bench_self_intersections = {
    "self_intersections", "FILE [THREADS]", "pairs of triangles that cut or touch each other", run};
