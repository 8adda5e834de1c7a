/* Area, volume and where a solid of one density has its centre of mass. */
#include "check/rows.h"
#include "core/job.h"
#include "core/mass.h"
#include "core/topology.h"

const struct check check_volume;

static enum status run(struct inspection *inspection, struct job *job)
{
    const struct mesh *mesh = inspection->mesh;
    const struct bounds *bounds = mesh_bounds(mesh, job);
    if (!bounds)
        return job_status(job);
    struct moments inside = {0}, skin = {0};
    enum status status = mesh_moments(mesh, bounds->centre, &inside, &skin, job);
    if (status != STATUS_OK)
        return status;
    inspection_real(inspection, FIGURE_area, mass_of(&skin, MASS_SURFACE, bounds->centre).amount);
    if (!inspection->figure[FIGURE_closed].flag)
        return STATUS_OK;
    struct mass mass = mass_of(&inside, MASS_SOLID, bounds->centre);
    inspection_real(inspection, FIGURE_volume, mass.amount);
    if (mass.amount > 0)
        inspection_vec(inspection, FIGURE_centre_of_mass, mass.centre);
    if (mass.amount >= 0)
        return STATUS_OK;
    return inspection_find(inspection, &check_volume, SEVERITY_ERROR, mesh_triangles(mesh), NULL, 0,
                           job, "inside out: it encloses %.6g mm3", mass.amount);
}

const struct check check_volume = {
    .name = "inside-out",
    .title = "Inside out",
    .help =
        "All triangles face inward, so that the solid is taken for a hole; \"orient\" turns them.",
    .mend = "orient",
    .severity = SEVERITY_ERROR,
    .run = run,
};
