#include <stdlib.h>

#include "check/rows.h"
#include "core/job.h"
#include "core/topology.h"

const struct check check_nonmanifold_edges;

struct side { /* one of the triangles at an edge */
    uint32_t low, high, half;
};

static int by_edge(const void *x, const void *y)
{
    const struct side *a = x, *b = y;
    if (a->low != b->low)
        return a->low < b->low ? -1 : 1;
    if (a->high != b->high)
        return a->high < b->high ? -1 : 1;
    return a->half < b->half ? -1 : a->half > b->half;
}

static int by_half(const void *x, const void *y)
{
    const struct side *a = x, *b = y;
    return a->half < b->half ? -1 : a->half > b->half;
}

static bool is_many(const struct mesh *mesh, const struct topology *topology, size_t h)
{
    return topology->twin[h] == TWIN_MANY &&
           half_from(mesh_triangle(mesh), (uint32_t)h) != half_to(mesh_triangle(mesh), (uint32_t)h);
}

/* One side of each edge, the first; of the first so many sides there are. */
static size_t list_edges(const struct mesh *mesh, const struct topology *topology,
                         struct side *list, size_t most)
{
    size_t count = 0, edges = 0;
    for (size_t h = 0; h < 3 * mesh_triangles(mesh) && count < most; h++) {
        if (!is_many(mesh, topology, h))
            continue;
        uint32_t a = half_from(mesh_triangle(mesh), (uint32_t)h);
        uint32_t b = half_to(mesh_triangle(mesh), (uint32_t)h);
        list[count++] = (struct side){a < b ? a : b, a < b ? b : a, (uint32_t)h};
    }
    qsort(list, count, sizeof *list, by_edge);
    for (size_t i = 0; i < count; i++)
        if (i == 0 || list[i].low != list[i - 1].low || list[i].high != list[i - 1].high)
            list[edges++] = list[i];
    qsort(list, edges, sizeof *list, by_half);
    return edges;
}

static enum status find_edges(struct inspection *inspection, const struct topology *topology,
                              struct job *job)
{
    enum { MOST = 8 * PLACES_MOST };
    struct side *list = malloc(MOST * sizeof *list);
    struct place *places = malloc(PLACES_MOST * sizeof *places);
    if (!list || !places) {
        free(list);
        free(places);
        return job_fail_memory(job, MOST * sizeof *list + PLACES_MOST * sizeof *places);
    }
    size_t count = list_edges(inspection->mesh, topology, list, MOST);
    count = count < PLACES_MOST ? count : PLACES_MOST;
    for (size_t i = 0; i < count; i++)
        places[i] = place_edge(inspection->mesh, list[i].half);
    free(list);
    return inspection_find(inspection, &check_nonmanifold_edges, SEVERITY_ERROR,
                           topology->nonmanifold, places, count, job,
                           "%zu edge%s where three triangles or more meet", topology->nonmanifold,
                           plural(topology->nonmanifold));
}

static enum status run(struct inspection *inspection, struct job *job)
{
    const struct topology *topology = mesh_topology(inspection->mesh, job);
    if (!topology)
        return job_status(job);
    inspection_count(inspection, FIGURE_nonmanifold_edges, (int64_t)topology->nonmanifold);
    return topology->nonmanifold ? find_edges(inspection, topology, job) : STATUS_OK;
}

const struct check check_nonmanifold_edges = {
    .name = "nonmanifold-edges",
    .title = "Non-manifold edges",
    .help = "A slicer cannot tell inside from outside where sheets meet like pages of a book; "
            "\"mend\" parts them.",
    .mend = "mend",
    .severity = SEVERITY_ERROR,
    .run = run,
};
