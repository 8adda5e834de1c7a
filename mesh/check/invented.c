/* Invented surface: what was filled where no scan saw. Nothing wrong with it, but who hands the
 * file over must know, and look at each place. */
#include "check/parts.h"
#include "check/rows.h"
#include "core/job.h"
#include "core/subset.h"
#include "core/topology.h"

const struct check check_invented;

/* Marks the invented triangles; returns how many there are. */
static size_t mark(const struct mesh *mesh, uint8_t *keep)
{
    const uint8_t *origin = mesh_attribute(mesh, ATTRIBUTE_origin);
    size_t count = 0;
    for (size_t t = 0; t < mesh_triangles(mesh); t++)
        count += keep[t] = origin[t] == ORIGIN_INVENTED;
    return count;
}

/* Gives the places of the part alone the whole mesh's triangles. */
static void place_in_whole(struct place *places, size_t count, const uint32_t *number)
{
    for (size_t i = 0; i < count; i++)
        if (places[i].triangle != NO_INDEX)
            places[i].triangle = number[places[i].triangle];
}

static enum status find(struct inspection *inspection, const struct mesh *part,
                        const uint32_t *number, struct job *job)
{
    struct parts parts;
    size_t kept;
    enum status status = parts_find(part, &parts, job);
    if (status != STATUS_OK)
        return status;
    struct place *places = parts_places(part, &parts, 0, parts.count, &kept, job);
    if (places) {
        double area = 0;
        for (size_t i = 0; i < parts.count; i++)
            area += parts.part[i].area;
        place_in_whole(places, kept, number);
        status = inspection_find(inspection, &check_invented, SEVERITY_HINT, parts.count, places,
                                 kept, job, "%zu place%s of %.4g mm2, %.2g %% of the surface",
                                 parts.count, plural(parts.count), area,
                                 100 * area / inspection->figure[FIGURE_area].real);
    }
    parts_release(&parts);
    return places ? status : job_status(job);
}

static enum status find_marked(struct inspection *inspection, const uint8_t *keep, size_t count,
                               struct job *job)
{
    const struct mesh *mesh = inspection->mesh;
    uint32_t *number = scratch_new(count, sizeof *number);
    struct mesh *part = number ? mesh_subset(mesh, keep, job) : NULL;
    if (!part) {
        scratch_free(number);
        return number ? job_status(job) : job_fail_memory(job, count * sizeof *number);
    }
    size_t at = 0;
    for (uint32_t t = 0; t < mesh_triangles(mesh); t++)
        if (keep[t])
            number[at++] = t;
    enum status status = find(inspection, part, number, job);
    mesh_free(part);
    scratch_free(number);
    return status;
}

static enum status run(struct inspection *inspection, struct job *job)
{
    const struct mesh *mesh = inspection->mesh;
    if (!mesh_attribute(mesh, ATTRIBUTE_origin))
        return STATUS_OK;
    uint8_t *keep = scratch_new(mesh_triangles(mesh), 1);
    if (!keep)
        return job_fail_memory(job, mesh_triangles(mesh));
    size_t count = mark(mesh, keep);
    enum status status = count ? find_marked(inspection, keep, count, job) : STATUS_OK;
    scratch_free(keep);
    return status;
}

const struct check check_invented = {
    .name = "invented",
    .title = "Invented surface",
    .help = "Nothing was measured there; \"bare\" takes it away again.",
    .mend = "bare",
    .severity = SEVERITY_HINT,
    .run = run,
};
