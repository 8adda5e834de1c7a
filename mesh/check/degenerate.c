/* Zero area exactly: the three corners are on one line in all three projections, by exact turns. */
#include "check/rows.h"
#include "core/exact.h"
#include "core/job.h"

const struct check check_degenerate;

/* Whether the turn a b c is certainly not zero, without exact arithmetic: Shewchuk 1997, bound A.
 */
static bool surely_turns(double ax, double ay, double bx, double by, double cx, double cy)
{
    double left = (ax - cx) * (by - cy), right = (ay - cy) * (bx - cx);
    return fabs(left - right) > (fabs(left) + fabs(right)) * 0x1.8p-52;
}

static bool turns(double ax, double ay, double bx, double by, double cx, double cy)
{
    return exact_turn((double[2]){ax, ay}, (double[2]){bx, by}, (double[2]){cx, cy}) != 0;
}

static bool is_degenerate(const void *context, size_t t)
{
    const struct mesh *mesh = context;
    const uint32_t *v = mesh_triangle(mesh)[t].v;
    struct vec a = point_vec(mesh_point(mesh)[v[0]]), b = point_vec(mesh_point(mesh)[v[1]]);
    struct vec c = point_vec(mesh_point(mesh)[v[2]]);
    if (surely_turns(a.x, a.y, b.x, b.y, c.x, c.y) || surely_turns(a.y, a.z, b.y, b.z, c.y, c.z) ||
        surely_turns(a.z, a.x, b.z, b.x, c.z, c.x))
        return false;
    return !turns(a.x, a.y, b.x, b.y, c.x, c.y) && !turns(a.y, a.z, b.y, b.z, c.y, c.z) &&
           !turns(a.z, a.x, b.z, b.x, c.z, c.x);
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
