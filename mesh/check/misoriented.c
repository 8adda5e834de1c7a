#include "check/rows.h"
#include "core/job.h"
#include "core/topology.h"

const struct check check_misoriented;

/* The first of the two half-edges of such an edge. */
static bool is_misoriented(const void *context, size_t h)
{
    uint32_t twin = ((const struct topology *)context)->twin[h];
    return twin & TWIN_FLIPPED && twin < TWIN_MANY && h < (twin ^ TWIN_FLIPPED);
}

static enum status run(struct inspection *inspection, struct job *job)
{
    const struct topology *topology = mesh_topology(inspection->mesh, job);
    if (!topology)
        return job_status(job);
    inspection_count(inspection, FIGURE_misoriented_edges, (int64_t)topology->misoriented);
    if (topology->misoriented == 0)
        return STATUS_OK;
    struct hits hits;
    enum status status =
        hits_find(3 * mesh_triangles(inspection->mesh), is_misoriented, topology, &hits, job);
    if (status != STATUS_OK)
        return status;
    struct place *places = places_of_hits(inspection->mesh, &hits, place_edge, &status, job);
    if (status != STATUS_OK)
        return status;
    return inspection_find(inspection, &check_misoriented, SEVERITY_ERROR, hits.count, places,
                           hits.kept, job, "%llu edge%s between triangles that face opposite ways",
                           (unsigned long long)hits.count, plural(hits.count));
}

const struct check check_misoriented = {
    .name = "misoriented-edges",
    .title = "Misoriented edges",
    .help = "Neighbours disagree about which side is outside; \"orient\" turns them.",
    .mend = "orient",
    .severity = SEVERITY_ERROR,
    .run = run,
};
