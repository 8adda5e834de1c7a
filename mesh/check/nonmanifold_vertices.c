#include <stdlib.h>

#include "check/rows.h"
#include "core/fans.h"
#include "core/job.h"

const struct check check_nonmanifold_vertices;

static enum status find_vertices(struct inspection *inspection, const struct topology *topology,
                                 struct job *job)
{
    uint32_t *vertex;
    size_t count;
    enum status status = fans_pinched(inspection->mesh, topology, &vertex, &count, job);
    if (status != STATUS_OK)
        return status;
    size_t kept = count < PLACES_MOST ? count : PLACES_MOST;
    struct place *places = malloc((kept + 1) * sizeof *places);
    if (!places) {
        scratch_free(vertex);
        return job_fail_memory(job, kept * sizeof *places);
    }
    for (size_t i = 0; i < kept; i++)
        places[i] = (struct place){topology->fan[vertex[i]] / 3,
                                   mesh_point(inspection->mesh)[vertex[i]], 0};
    scratch_free(vertex);
    return inspection_find(inspection, &check_nonmanifold_vertices, SEVERITY_ERROR, count, places,
                           kept, job,
                           "%zu %s where parts of the surface touch in a point only or "
                           "at a non-manifold edge",
                           count, count == 1 ? "vertex" : "vertices");
}

static enum status run(struct inspection *inspection, struct job *job)
{
    const struct topology *topology = mesh_topology(inspection->mesh, job);
    if (!topology)
        return job_status(job);
    inspection_count(inspection, FIGURE_nonmanifold_vertices,
                     (int64_t)topology->nonmanifold_vertices);
    return topology->nonmanifold_vertices ? find_vertices(inspection, topology, job) : STATUS_OK;
}

const struct check check_nonmanifold_vertices = {
    .name = "nonmanifold-vertices",
    .title = "Non-manifold vertices",
    .help = "What hangs together in a point breaks there; \"dust\" drops a small part, "
            "\"mend\" parts them by a hair.",
    .mend = "mend",
    .severity = SEVERITY_ERROR,
    .run = run,
};
