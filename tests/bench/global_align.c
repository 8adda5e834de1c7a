/* All scans onto each other from unknown poses. */
#include <stdio.h>
#include <stdlib.h>

#include "core/job.h"
#include "format/format.h"
#include "scan/align.h"
#include "tests/bench/bench.h"

enum { MOST = 64 };

static void print_motion(const struct rigid *m, const char *after)
{
    const double s[3] = {m->shift.x, m->shift.y, m->shift.z};
    printf("[");
    for (int i = 0; i < 3; i++)
        printf("[%.12g, %.12g, %.12g, %.12g], ", m->turn[i][0], m->turn[i][1], m->turn[i][2], s[i]);
    printf("[0, 0, 0, 1]]%s", after);
}

static void print(const struct alignment *result, double wall, double cpu)
{
    printf("@@{\"wall_s\": %.4f, \"cpu_op_s\": %.4f, \"placed\": %zu, \"left_out\": [", wall, cpu,
           result->placed);
    size_t left = 0;
    for (size_t i = 0; i < result->pieces; i++)
        if (!result->piece[i].placed)
            printf("%s%zu", left++ ? ", " : "", i);
    printf("], \"T_to_scan0\": [");
    for (size_t i = 0; i < result->pieces; i++)
        print_motion(&result->piece[i].motion, i + 1 < result->pieces ? ", " : "");
    printf("]}\n");
}

static int run(int count, char **argument)
{
    struct job job;
    struct file file[MOST] = {{0}};
    const struct mesh *mesh[MOST];
    struct alignment result = {0};
    if (count < 2 || count > MOST)
        return 2;
    job_init(&job);
    enum status status = STATUS_OK;
    for (int i = 0; i < count && status == STATUS_OK; i++) {
        status = file_read(argument[i], UNIT_NONE, &file[i], &job);
        mesh[i] = file[i].mesh;
    }
    double start = bench_now(), cpu = bench_cpu();
    if (status == STATUS_OK)
        status = align_find(mesh, (const char *const *)argument, (size_t)count, 0, &result, &job);
    if (status == STATUS_OK)
        print(&result, bench_now() - start, bench_cpu() - cpu);
    else
        fprintf(stderr, "%s\n", job.message);
    align_release(&result);
    for (int i = 0; i < count; i++)
        if (file[i].mesh)
            file_release(&file[i]);
    job_release(&job);
    return status == STATUS_OK ? 0 : 1;
}

const struct bench_task bench_global_align = {"global_align", "FILE FILE...",
                                              "all scans onto each other from unknown poses", run};
