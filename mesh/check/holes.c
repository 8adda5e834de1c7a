#include <stdlib.h>

#include "check/rows.h"
#include "core/job.h"
#include "core/topology.h"

const struct check check_holes;

struct rim {
    size_t loop;
    double length;
};

static int longest_first(const void *x, const void *y)
{
    const struct rim *a = x, *b = y;
    if (a->length != b->length)
        return a->length > b->length ? -1 : 1;
    return a->loop < b->loop ? -1 : a->loop > b->loop;
}

/* At the middle of the rim, reaching all of it. */
static struct place place_rim(const struct mesh *mesh, const struct loops *loops, size_t loop)
{
    uint32_t start = loops->start[loop], end = loops->start[loop + 1];
    struct vec middle = vec(0, 0, 0);
    for (uint32_t i = start; i < end; i++) {
        uint32_t v = half_from(mesh_triangle(mesh), loops->half[i]);
        middle = vec_along(middle, 1.0 / (end - start), point_vec(mesh_point(mesh)[v]));
    }
    double reach = 0;
    for (uint32_t i = start; i < end; i++) {
        uint32_t v = half_from(mesh_triangle(mesh), loops->half[i]);
        reach = fmax(reach, vec_length(vec_sub(point_vec(mesh_point(mesh)[v]), middle)));
    }
    return (struct place){loops->half[start] / 3, vec_point(middle), (float)reach};
}

static enum status find_rims(struct inspection *inspection, const struct loops *loops, size_t edges,
                             struct job *job)
{
    size_t count = loops->count + loops->chains, kept = count < PLACES_MOST ? count : PLACES_MOST;
    struct rim *rim = malloc(count * sizeof *rim);
    struct place *places = malloc(kept * sizeof *places);
    if (!rim || !places) {
        free(rim);
        free(places);
        return job_fail_memory(job, count * sizeof *rim + kept * sizeof *places);
    }
    double length = 0;
    for (size_t i = 0; i < count; i++) {
        rim[i] = (struct rim){i, loops->length[i]};
        length += rim[i].length;
    }
    qsort(rim, count, sizeof *rim, longest_first);
    for (size_t i = 0; i < kept; i++)
        places[i] = place_rim(inspection->mesh, loops, rim[i].loop);
    double longest = rim[0].length;
    free(rim);
    return inspection_find(inspection, &check_holes, SEVERITY_ERROR, count, places, kept, job,
                           "%zu open rim%s of %zu boundary edge%s; the longest is %.4g mm around, "
                           "all together %.4g mm",
                           count, plural(count), edges, plural(edges), longest, length);
}

static enum status run(struct inspection *inspection, struct job *job)
{
    const struct topology *topology = mesh_topology(inspection->mesh, job);
    const struct loops *loops = topology ? mesh_loops(inspection->mesh, job) : NULL;
    if (!loops)
        return job_status(job);
    inspection_count(inspection, FIGURE_boundary_edges, (int64_t)topology->boundary);
    inspection_count(inspection, FIGURE_boundary_loops, (int64_t)(loops->count + loops->chains));
    inspection_flag(inspection, FIGURE_closed,
                    mesh_triangles(inspection->mesh) && !topology->boundary &&
                        !topology->nonmanifold && !topology->misoriented);
    return topology->boundary ? find_rims(inspection, loops, topology->boundary, job) : STATUS_OK;
}

const struct check check_holes = {
    .name = "holes",
    .title = "Holes",
    .help =
        "Where the surface ends it has no inside to print; \"fill\" closes holes, \"cut\" with a "
        "cap closes a foot.",
    .mend = "fill",
    .severity = SEVERITY_ERROR,
    .run = run,
};
