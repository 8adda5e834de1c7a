/* Reading, welding, connectivity and every figure but self-intersection: from the file's name to
 * the inspection. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <sys/stat.h>

#include "check/check.h"
#include "core/job.h"
#include "format/format.h"
#include "tests/bench/bench.h"

/* MiB of a line of /proc/self/status. */
static double status_mb(const char *name)
{
    char line[256];
    double mb = 0;
    FILE *status = fopen("/proc/self/status", "r");
    while (status && fgets(line, sizeof line, status))
        if (strncmp(line, name, strlen(name)) == 0)
            mb = atof(line + strlen(name)) / 1024;
    if (status)
        fclose(status);
    return mb;
}

/* The peak since the last call. */
static double take_peak_mb(void)
{
    double peak = status_mb("VmHWM:");
    FILE *refs = fopen("/proc/self/clear_refs", "w");
    if (refs) {
        fputs("5", refs);
        fclose(refs);
    }
    return peak;
}

static double size_mb(const char *path)
{
    struct stat at;
    return stat(path, &at) == 0 ? (double)at.st_size / 1048576 : 0;
}

struct measured {
    double read_s, all_s, cpu_s;
    double mb; /* the peak beside the program's and the input's own pages */
};

static void print(const struct inspection *inspection, const struct measured *m)
{
    const struct figure_value *figure = inspection->figure;
    double triangles = (double)figure[FIGURE_triangles].count;
    printf("@@{\"wall_s\": %.4f, \"read_s\": %.4f, \"inspect_s\": %.4f, \"cpu_s\": %.4f, "
           "\"own_mb\": %.1f, \"bytes_a_triangle\": %.1f, \"vertices\": %lld, "
           "\"triangles\": %lld, \"boundary_edges\": %lld, \"components\": %lld, "
           "\"area\": %.6f, \"volume\": %.6f}\n",
           m->all_s, m->read_s, m->all_s - m->read_s, m->cpu_s, m->mb, m->mb * 1048576 / triangles,
           (long long)figure[FIGURE_vertices].count, (long long)figure[FIGURE_triangles].count,
           (long long)figure[FIGURE_boundary_edges].count,
           (long long)figure[FIGURE_components].count, figure[FIGURE_area].real,
           figure[FIGURE_volume].real);
}

static enum status measure(const char *path, struct file *file, struct inspection *inspection,
                           struct measured *m, struct job *job)
{
    const struct check_input input = {.file = path, .skip_self_intersections = true};
    double before = status_mb("VmRSS:"), start = bench_now(), cpu = bench_cpu();
    enum status status = file_read(path, UNIT_NONE, file, job);
    m->read_s = bench_now() - start;
    m->mb = take_peak_mb() - before - size_mb(path);
    if (status == STATUS_OK) {
        start = bench_now();
        status = inspect(file->mesh, &input, inspection, job);
        m->all_s = m->read_s + bench_now() - start;
    }
    m->cpu_s = bench_cpu() - cpu;
    m->mb = fmax(m->mb, take_peak_mb() - before);
    return status;
}

static int run(int count, char **argument)
{
    if (count < 1)
        return 2;
    struct job job;
    job_init(&job);
    job.threads = count > 1 ? atoi(argument[1]) : 0;
    struct file file = {0};
    struct inspection inspection;
    struct measured m = {0};
    enum status status = measure(argument[0], &file, &inspection, &m, &job);
    if (status == STATUS_OK) {
        print(&inspection, &m);
        inspection_release(&inspection);
    } else {
        fprintf(stderr, "%s\n", job.message);
    }
    file_release(&file);
    job_release(&job);
    return status_exit(status);
}

const struct bench_task bench_load_weld = {
    "load_weld", "FILE [THREADS]",
    "reading, welding, connectivity, all figures but self-intersection", run};
