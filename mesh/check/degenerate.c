/* Zero area exactly: the three corners are on one line in all three projections, by exact turns. */
#include "check/rows.h"
#include "core/job.h"
#include "core/meet.h"

const struct check check_degenerate;

static bool is_degenerate(const void *context, size_t t)
{
    const struct mesh *mesh = context;
    const uint32_t *v = mesh_triangle(mesh)[t].v;
    struct vec corner[3];
    for (int k = 0; k < 3; k++)
        corner[k] = point_vec(mesh_point(mesh)[v[k]]);
    return !triangle_has_area(corner);
}

static enum status run(struct inspection *inspection, struct job *job)
{
    struct hits hits;
    enum status status =
        hits_find(mesh_triangles(inspection->mesh), is_degenerate, inspection->mesh, &hits, job);
    if (status != STATUS_OK)
        return status;
    inspection_count(inspection, FIGURE_degenerate_triangles, (int64_t)hits.count);
    struct place *places = places_of_hits(inspection->mesh, &hits, place_triangle, &status, job);
    if (status != STATUS_OK || hits.count == 0)
        return status;
    return inspection_find(inspection, &check_degenerate, SEVERITY_ERROR, hits.count, places,
                           hits.kept, job, "%llu triangle%s without area",
                           (unsigned long long)hits.count, plural(hits.count));
}

const struct check check_degenerate = {
    .name = "degenerate-triangles",
    .title = "Degenerate triangles",
    .help = "A triangle that is a line or a point has no direction to face; \"mend\" "
            "takes them away.",
    .mend = "mend",
    .severity = SEVERITY_ERROR,
    .run = run,
};
