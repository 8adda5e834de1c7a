/* Large parts of the surface that do not hang together. */
#include "check/parts.h"
#include "check/rows.h"
#include "core/job.h"

const struct check check_pieces;

static enum status find(struct inspection *inspection, const struct parts *parts, struct job *job)
{
    size_t kept;
    struct place *places = parts_places(inspection->mesh, parts, 0, parts->large, &kept, job);
    if (!places)
        return job_status(job);
    return inspection_find(inspection, &check_pieces, SEVERITY_WARNING, parts->large, places, kept,
                           job, "%zu large parts that do not hang together", parts->large);
}

static enum status run(struct inspection *inspection, struct job *job)
{
    struct parts parts;
    enum status status = parts_find(inspection->mesh, &parts, job);
    if (status != STATUS_OK)
        return status;
    inspection_count(inspection, FIGURE_components, (int64_t)parts.count);
    if (parts.large > 1)
        status = find(inspection, &parts, job);
    parts_release(&parts);
    return status;
}

const struct check check_pieces = {
    .name = "pieces",
    .title = "Separate parts",
    .help = "They print as separate things; keep them together, or cut and save them one by one.",
    .severity = SEVERITY_WARNING,
    .run = run,
};
