/* Slivers: triangles whose height over their longest side is less than a hundredth of it (common
 * practice, no source). Those of no area at all are degenerate, another row. */
#include "check/rows.h"
#include "core/job.h"

const struct check check_slivers;

#define HEIGHT_SHARE 0.01

static bool is_sliver(const void *context, size_t t)
{
    const struct mesh *mesh = context;
    const uint32_t *v = mesh_triangle(mesh)[t].v;
    struct vec a = point_vec(mesh_point(mesh)[v[0]]);
    struct vec b = vec_sub(point_vec(mesh_point(mesh)[v[1]]), a);
    struct vec c = vec_sub(point_vec(mesh_point(mesh)[v[2]]), a);
    double bb = vec_length2(b), cc = vec_length2(c), bc = vec_length2(vec_sub(c, b));
    double longest2 = bb > cc ? bb : cc;
    longest2 = bc > longest2 ? bc : longest2;
    double area2 = vec_length2(vec_cross(b, c)); /* (height * longest) squared */
    return area2 > 0 && area2 < HEIGHT_SHARE * HEIGHT_SHARE * longest2 * longest2;
}

static enum status run(struct inspection *inspection, struct job *job)
{
    struct hits hits;
    enum status status =
        hits_find(mesh_triangles(inspection->mesh), is_sliver, inspection->mesh, &hits, job);
    if (status != STATUS_OK)
        return status;
    struct place *places = places_of_hits(inspection->mesh, &hits, place_triangle, &status, job);
    if (status != STATUS_OK || hits.count == 0)
        return status;
    return inspection_find(inspection, &check_slivers, SEVERITY_HINT, hits.count, places, hits.kept,
                           job, "%llu triangle%s a hundred times longer than high",
                           (unsigned long long)hits.count, plural(hits.count));
}

const struct check check_slivers = {
    .name = "slivers",
    .title = "Slivers",
    .help =
        "Needles print, but shade badly and trouble other programs; \"decimate\" thins them out.",
    .mend = "decimate",
    .severity = SEVERITY_HINT,
    .run = run,
};
