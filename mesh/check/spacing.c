/* How far apart the points are: a figure without a finding. */
#include "core/apart.h"

#include "check/rows.h"

static enum status run(struct inspection *inspection, struct job *job)
{
    double spacing;
    if (mesh_vertices(inspection->mesh) < 2)
        return STATUS_OK;
    enum status status = mesh_spacing(inspection->mesh, &spacing, job);
    if (status == STATUS_OK)
        inspection_real(inspection, FIGURE_spacing, spacing);
    return status;
}

const struct check check_spacing = {
    .name = "spacing",
    .title = "Spacing",
    .help = "How far apart the points are: no finer detail was measured.",
    .severity = SEVERITY_HINT,
    .run = run,
};
