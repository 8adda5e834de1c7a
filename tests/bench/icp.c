/* Best fit of one scan to another from the pose they come in. */
#include <stdio.h>
#include <stdlib.h>

#include "core/job.h"
#include "format/format.h"
#include "scan/fit.h"
#include "tests/bench/bench.h"

static int run(int count, char **argument)
{
    struct job job;
    struct file file[2] = {{0}, {0}};
    struct fit fit;
    if (count < 2)
        return 2;
    job_init(&job);
    enum status status = STATUS_OK;
    for (int i = 0; i < 2 && status == STATUS_OK; i++)
        status = file_read(argument[i], UNIT_NONE, file + i, &job);
    double start = bench_now(), cpu = bench_cpu();
    if (status == STATUS_OK)
        status = fit_find(file[0].mesh, file[1].mesh, &fit, &job);
    double end = bench_now();
    if (status == STATUS_OK) {
        const struct rigid *m = &fit.motion;
        const double s[3] = {m->shift.x, m->shift.y, m->shift.z};
        printf("@@{\"wall_s\": %.4f, \"cpu_op_s\": %.4f, \"overlap\": %.4f, \"agreement\": %.4f, "
               "\"rms_mm\": %.5f, \"tolerance_mm\": %.4f, \"weakest\": %.4f, \"T_src_to_dst\": [[",
               end - start, bench_cpu() - cpu, fit.touch.overlap, fit.touch.agreement,
               fit.touch.rms, fit.tolerance, fit.slide.weakest);
        for (int i = 0; i < 3; i++)
            printf("[%.12g, %.12g, %.12g, %.12g], ", m->turn[i][0], m->turn[i][1], m->turn[i][2],
                   s[i]);
        printf("[0, 0, 0, 1]]]}\n");
    } else {
        fprintf(stderr, "%s\n", job.message);
    }
    for (int i = 0; i < 2; i++)
        if (file[i].mesh)
            file_release(file + i);
    job_release(&job);
    return status == STATUS_OK ? 0 : 1;
}

const struct bench_task bench_icp = {
    "icp", "MOVING FIXED", "best fit of one scan to another from their present pose", run};
