#include "check/rows.h"
#include "core/job.h"
#include "core/topology.h"

const struct check check_unused;

static bool is_unused(const void *context, size_t v)
{
    return ((const struct topology *)context)->fan[v] == NO_INDEX;
}

static struct place place_point(const struct mesh *mesh, uint32_t v)
{
    return (struct place){NO_INDEX, mesh_point(mesh)[v], 0};
}

static enum status run(struct inspection *inspection, struct job *job)
{
    if (mesh_triangles(inspection->mesh) == 0)
        return STATUS_OK; /* a cloud's points are what it is made of */
    const struct topology *topology = mesh_topology(inspection->mesh, job);
    if (!topology)
        return job_status(job);
    if (topology->unused_vertices == 0)
        return STATUS_OK;
    struct hits hits;
    enum status status =
        hits_find(mesh_vertices(inspection->mesh), is_unused, topology, &hits, job);
    if (status != STATUS_OK)
        return status;
    struct place *places = places_of_hits(inspection->mesh, &hits, place_point, &status, job);
    if (status != STATUS_OK)
        return status;
    return inspection_find(inspection, &check_unused, SEVERITY_HINT, hits.count, places, hits.kept,
                           job, "%llu point%s that no triangle uses",
                           (unsigned long long)hits.count, plural(hits.count));
}

const struct check check_unused = {
    .name = "unused-points",
    .title = "Unused points",
    .help = "Stray points make the part look larger than it is; \"outliers\" drops them.",
    .mend = "outliers",
    .severity = SEVERITY_HINT,
    .run = run,
};
