/* Floating bits: parts of the surface too small to be meant. */
#include "check/parts.h"
#include "check/rows.h"
#include "core/job.h"

const struct check check_bits;

static enum status find(struct inspection *inspection, const struct parts *parts, struct job *job)
{
    size_t kept, bits = parts->count - parts->large;
    struct place *places =
        parts_places(inspection->mesh, parts, parts->large, parts->count, &kept, job);
    if (!places)
        return job_status(job);
    double area = 0;
    for (size_t i = parts->large; i < parts->count; i++)
        area += parts->part[i].area;
    return inspection_find(inspection, &check_bits, SEVERITY_WARNING, bits, places, kept, job,
                           "%zu floating bit%s, together %.2g %% of the surface", bits,
                           plural(bits), 100 * area / inspection->figure[FIGURE_area].real);
}

static enum status run(struct inspection *inspection, struct job *job)
{
    struct parts parts;
    enum status status = parts_find(inspection->mesh, &parts, job);
    if (status != STATUS_OK)
        return status;
    if (parts.large < parts.count)
        status = find(inspection, &parts, job);
    parts_release(&parts);
    return status;
}

const struct check check_bits = {
    .name = "bits",
    .title = "Floating bits",
    .help = "Loose bits print as loose bits, or fail the print; \"dust\" drops the small ones.",
    .mend = "dust",
    .severity = SEVERITY_WARNING,
    .run = run,
};
