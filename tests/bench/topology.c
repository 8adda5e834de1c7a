/* Weld, connectivity, loops and pieces of a binary STL file that is held in memory. */
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <sys/mman.h>
#include <sys/stat.h>
#include <unistd.h>

#include "core/job.h"
#include "core/topology.h"
#include "core/weld.h"
#include "tests/bench/bench.h"

static const unsigned char *map(const char *path, size_t *size)
{
    struct stat stat;
    int fd = open(path, O_RDONLY);
    if (fd < 0 || fstat(fd, &stat) != 0 || stat.st_size < 84)
        return NULL;
    *size = (size_t)stat.st_size;
    void *data = mmap(NULL, *size, PROT_READ, MAP_PRIVATE | MAP_POPULATE, fd, 0);
    close(fd);
    return data == MAP_FAILED ? NULL : data;
}

static int run(int count, char **argument)
{
    size_t size;
    const unsigned char *data = count > 0 ? map(argument[0], &size) : NULL;
    if (!data)
        return 2;
    struct job job;
    job_init(&job);
    job.threads = count > 1 ? atoi(argument[1]) : 0;
    double start = bench_now();
    struct mesh *mesh = weld_soup(data + 96, 50, (size - 84) / 50, &job);
    double welded = bench_now();
    const struct topology *topology = mesh ? mesh_topology(mesh, &job) : NULL;
    double paired = bench_now();
    const struct loops *loops = topology ? mesh_loops(mesh, &job) : NULL;
    double traced = bench_now();
    const struct components *components = loops ? mesh_components(mesh, &job) : NULL;
    double end = bench_now();
    if (!components) {
        fprintf(stderr, "%s\n", job.message);
        return 1;
    }
    printf("@@{\"wall_s\": %.4f, \"weld_s\": %.4f, \"pair_s\": %.4f, \"loops_s\": %.4f, "
           "\"components_s\": %.4f, \"vertices\": %zu, \"triangles\": %zu, \"boundary\": %zu, "
           "\"nonmanifold\": %zu, \"misoriented\": %zu, \"pinched\": %zu, \"loops\": %zu, "
           "\"components\": %zu}\n",
           end - start, welded - start, paired - welded, traced - paired, end - traced,
           mesh_vertices(mesh), mesh_triangles(mesh), topology->boundary, topology->nonmanifold,
           topology->misoriented, topology->nonmanifold_vertices, loops->count, components->count);
    mesh_free(mesh);
    return 0;
}

const struct bench_task bench_topology = {
    "topology", "FILE.stl [THREADS]", "weld, connectivity, loops and pieces of a binary STL", run};
