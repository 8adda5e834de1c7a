/* Euler's number and the number of handles: figures without a finding. */
#include "check/rows.h"
#include "core/job.h"
#include "core/topology.h"

static enum status run(struct inspection *inspection, struct job *job)
{
    const struct topology *topology = mesh_topology(inspection->mesh, job);
    const struct components *components = topology ? mesh_components(inspection->mesh, job) : NULL;
    if (!components)
        return job_status(job);
    int64_t used = (int64_t)(mesh_vertices(inspection->mesh) - topology->unused_vertices);
    int64_t faces = (int64_t)mesh_triangles(inspection->mesh);
    int64_t euler = used - (int64_t)topology->edges + faces;
    inspection_count(inspection, FIGURE_euler_characteristic, euler);
    if (inspection->figure[FIGURE_closed].flag && topology->nonmanifold_vertices == 0)
        inspection_count(inspection, FIGURE_genus, (int64_t)components->count - euler / 2);
    return STATUS_OK;
}

const struct check check_genus = {
    .name = "genus",
    .title = "Genus",
    .help = "How many handles a closed surface has: a ball none, a ring one.",
    .severity = SEVERITY_HINT,
    .run = run,
};
