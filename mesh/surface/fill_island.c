/* Islands: pieces of surface that lie inside a hole of another piece. A rim is one when it is the
 * outer boundary of its piece (its area, seen the way its triangles face, is negative) and all of
 * it lies over the area of a hole of another piece, near its plane and facing the same way. Of
 * several such holes the smallest is meant. */
#include <stdlib.h>
#include <string.h>

#include "core/job.h"
#include "surface/fill_rim.h"

/* How far from the plane of the hole an island may lie, in radii of a disc of the hole's area. */
static const double height_most = 0.5;
/* How far its triangles may turn from where the hole faces: cosine. */
static const double facing_least = 0.5;

struct ring {          /* a rim, measured */
    struct vec area;   /* area vector, the way new triangles would face */
    struct vec facing; /* unit: how the triangles along it face */
    struct vec low, high, middle;
};

struct looking {
    const struct mesh *mesh;
    const struct rims *rims;
    const struct components *components;
    struct ring *ring;
    struct job *job;
};

static struct vec rim_point(const struct looking *l, uint32_t entry)
{
    return point_vec(mesh_point(l->mesh)[l->rims->vertex[entry]]);
}

static struct vec triangle_normal(const struct mesh *mesh, uint32_t t)
{
    const uint32_t *v = mesh_triangle(mesh)[t].v;
    struct vec a = point_vec(mesh_point(mesh)[v[0]]);
    return vec_unit(vec_cross(vec_sub(point_vec(mesh_point(mesh)[v[1]]), a),
                              vec_sub(point_vec(mesh_point(mesh)[v[2]]), a)));
}

static struct ring measure(const struct looking *l, size_t rim)
{
    uint32_t first = l->rims->start[rim], end = l->rims->start[rim + 1];
    struct vec origin = rim_point(l, first), facing = vec(0, 0, 0);
    struct ring ring = {.low = origin, .high = origin};
    for (uint32_t i = first; i < end; i++) {
        struct vec p = rim_point(l, i), q = rim_point(l, i + 1 < end ? i + 1 : first);
        struct vec a = vec_sub(p, origin), b = vec_sub(q, origin);
        ring.area = vec_along(ring.area, 0.5, vec_cross(a, b));
        ring.middle = vec_along(ring.middle, 1.0 / (end - first), p);
        facing = vec_along(facing, vec_length(vec_sub(q, p)),
                           triangle_normal(l->mesh, l->rims->half[i] / 3));
        ring.low = vec(fmin(ring.low.x, p.x), fmin(ring.low.y, p.y), fmin(ring.low.z, p.z));
        ring.high = vec(fmax(ring.high.x, p.x), fmax(ring.high.y, p.y), fmax(ring.high.z, p.z));
    }
    ring.facing = vec_unit(facing);
    return ring;
}

/* Whether the vertical through p (along the hole's area vector) passes through the rim's polygon:
 * crossings of a ray in its plane. A point on the polygon's own vertex counts as inside. */
static bool over(const struct looking *l, size_t rim, struct vec u, struct vec v, struct vec p)
{
    uint32_t first = l->rims->start[rim], end = l->rims->start[rim + 1];
    double x = vec_dot(u, p), y = vec_dot(v, p);
    bool inside = false;
    struct vec last = rim_point(l, end - 1);
    double ax = vec_dot(u, last), ay = vec_dot(v, last);
    for (uint32_t i = first; i < end; i++) {
        struct vec q = rim_point(l, i);
        double bx = vec_dot(u, q), by = vec_dot(v, q);
        if (bx == x && by == y)
            return true;
        if ((ay > y) != (by > y) && x < ax + (bx - ax) * ((y - ay) / (by - ay)))
            inside = !inside;
        ax = bx, ay = by;
    }
    return inside;
}

static bool near_and_over(const struct looking *l, size_t hole, size_t island)
{
    const struct ring *h = l->ring + hole;
    struct vec up = vec_unit(h->area), u, v;
    double reach = height_most * sqrt(vec_length(h->area) / 3.141592653589793);
    vec_frame(up, &u, &v);
    for (uint32_t i = l->rims->start[island]; i < l->rims->start[island + 1]; i++) {
        struct vec p = rim_point(l, i);
        if (fabs(vec_dot(up, vec_sub(p, h->middle))) > reach || !over(l, hole, u, v, p))
            return false;
    }
    return true;
}

static bool boxes_meet(const struct ring *a, const struct ring *b)
{
    return a->low.x <= b->high.x && b->low.x <= a->high.x && a->low.y <= b->high.y &&
           b->low.y <= a->high.y && a->low.z <= b->high.z && b->low.z <= a->high.z;
}

static double depth(const struct ring *a)
{
    return height_most * sqrt(vec_length(a->area) / 3.141592653589793);
}

static bool may_hold(const struct looking *l, size_t hole, size_t island)
{
    const struct ring *h = l->ring + hole, *i = l->ring + island;
    struct ring wide = *h;
    struct vec reach = vec(depth(h), depth(h), depth(h));
    wide.low = vec_sub(wide.low, reach);
    wide.high = vec_add(wide.high, reach);
    return boxes_meet(&wide, i) && vec_dot(h->area, i->area) < 0 &&
           vec_length2(h->area) > vec_length2(i->area) && vec_dot(h->area, h->facing) > 0 &&
           vec_dot(vec_unit(h->area), i->facing) > facing_least;
}

static bool outer(const struct ring *ring)
{
    return vec_dot(ring->area, ring->facing) < 0;
}

static uint32_t piece_of(const struct looking *l, size_t rim)
{
    return l->components->of[l->rims->half[l->rims->start[rim]] / 3];
}

/* The smallest hole that holds the island; NO_INDEX when none does. */
static enum status find_hole(struct looking *l, size_t island, uint32_t *found)
{
    double least = INFINITY;
    *found = NO_INDEX;
    for (size_t h = 0; h < l->rims->count; h++) {
        double area = vec_length2(l->ring[h].area);
        if (h == island || !(area < least) || !may_hold(l, h, island))
            continue;
        if (!l->components && !(l->components = mesh_components(l->mesh, l->job)))
            return job_status(l->job);
        if (piece_of(l, h) == piece_of(l, island) || !near_and_over(l, h, island))
            continue;
        least = area;
        *found = (uint32_t)h;
    }
    return job_cancelled(l->job) ? job_fail_cancelled(l->job) : STATUS_OK;
}

enum status rims_islands(const struct mesh *mesh, const struct rims *rims, uint32_t *of,
                         struct job *job)
{
    struct looking l = {.mesh = mesh, .rims = rims, .job = job};
    l.ring = malloc((rims->count + 1) * sizeof *l.ring);
    if (!l.ring)
        return job_fail_memory(job, rims->count * sizeof *l.ring);
    enum status status = STATUS_OK;
    for (size_t i = 0; i < rims->count; i++)
        l.ring[i] = measure(&l, i);
    for (size_t i = 0; i < rims->count && status == STATUS_OK; i++) {
        of[i] = NO_INDEX;
        if (outer(l.ring + i))
            status = find_hole(&l, i, of + i);
    }
    free(l.ring);
    return status;
}
