/* Deviation of two surfaces both ways, the building of both trees included; with a tolerance, its
 * proof besides. */
#include <stdio.h>
#include <stdlib.h>

#include "check/deviation.h"
#include "core/job.h"
#include "core/tree.h"
#include "format/format.h"
#include "tests/bench/bench.h"

static void print_way(const char *name, const struct deviation *way)
{
    printf(", \"%s\": {\"mean\": %.9g, \"rms\": %.9g, \"p95\": %.9g, \"max\": %.9g}", name,
           way->mean, way->rms, way->p95, way->max);
}

static enum status measure(const struct mesh *a, const struct mesh *b, uint64_t samples,
                           const char *tolerance, struct job *job)
{
    struct comparison out;
    struct proof proof = {0};
    double start = bench_now();
    bool built = mesh_tree(a, job) && mesh_tree(b, job);
    double indexed = bench_now();
    enum status status = built ? deviation_compare(a, b, samples, &out, job) : job_status(job);
    double compared = bench_now();
    if (tolerance && status == STATUS_OK)
        status = deviation_within(a, b, atof(tolerance), &proof, job);
    double end = bench_now();
    if (status != STATUS_OK)
        return status;
    uint64_t queries = out.a_to_b.samples + out.b_to_a.samples;
    printf("@@{\"wall_s\": %.4f, \"build_s\": %.4f, \"samples\": %llu, \"samples_per_s\": %.0f",
           compared - start, indexed - start, (unsigned long long)queries,
           (double)queries / (compared - indexed));
    print_way("a_to_b", &out.a_to_b);
    print_way("b_to_a", &out.b_to_a);
    if (tolerance)
        printf(", \"within\": %s, \"proof_s\": %.4f", proof.within ? "true" : "false",
               end - compared);
    printf("}\n");
    return STATUS_OK;
}

static int run(int count, char **argument)
{
    struct job job;
    struct file file[2] = {{0}, {0}};
    if (count < 2)
        return 2;
    job_init(&job);
    enum status status = STATUS_OK;
    for (int i = 0; i < 2 && status == STATUS_OK; i++)
        status = file_read(argument[i], UNIT_NONE, file + i, &job);
    if (status == STATUS_OK)
        status =
            measure(file[0].mesh, file[1].mesh, count > 2 ? strtoull(argument[2], NULL, 10) : 0,
                    count > 3 ? argument[3] : NULL, &job);
    if (status != STATUS_OK)
        fprintf(stderr, "%s\n", job.message);
    for (int i = 0; i < 2; i++)
        if (file[i].mesh)
            file_release(file + i);
    job_release(&job);
    return status == STATUS_OK ? 0 : 1;
}

const struct bench_task bench_deviation = {
    "deviation", "A B [SAMPLES [TOLERANCE]]",
    "distances of each from the other; the proof that they are within the tolerance", run};
