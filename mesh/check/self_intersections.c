#include <stdlib.h>

#include "check/rows.h"
#include "core/crossings.h"
#include "core/job.h"

const struct check check_self_intersections;

/* One place a triangle, at the first of the pairs it is in. */
static struct place *places_of(const struct mesh *mesh, const struct crossing *pairs, size_t kept,
                               size_t *count)
{
    struct place *places = malloc((kept + 1) * sizeof *places);
    *count = 0;
    for (size_t i = 0; i < kept && places; i++)
        if (i == 0 || pairs[i].a != pairs[i - 1].a)
            places[(*count)++] = place_triangle(mesh, pairs[i].a);
    return places;
}

static enum status run(struct inspection *inspection, struct job *job)
{
    if (inspection->input.skip_self_intersections)
        return STATUS_OK;
    struct crossing *pairs = NULL;
    size_t kept = 0, place_count = 0;
    uint64_t count = 0;
    enum status status = crossings_find(inspection->mesh, PLACES_MOST, &pairs, &kept, &count, job);
    if (status != STATUS_OK)
        return status;
    inspection_count(inspection, FIGURE_self_intersections, (int64_t)count);
    struct place *places = places_of(inspection->mesh, pairs, kept, &place_count);
    free(pairs);
    if (!places)
        return job_fail_memory(job, kept * sizeof *places);
    if (count == 0) {
        free(places);
        return STATUS_OK;
    }
    return inspection_find(inspection, &check_self_intersections, SEVERITY_ERROR, count, places,
                           place_count, job,
                           "%llu pair%s of triangles that cut or touch each other",
                           (unsigned long long)count, plural(count));
}

const struct check check_self_intersections = {
    .name = "self-intersections",
    .title = "Self-intersections",
    .help =
        "Surface that runs through itself leaves slicers guessing what is inside; \"mend\" cuts it "
        "apart and keeps the outside.",
    .mend = "mend",
    .severity = SEVERITY_ERROR,
    .share = 700, /* measured: 750 to 800 of a scan's inspection */
    .run = run,
};
