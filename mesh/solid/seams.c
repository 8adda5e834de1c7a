#include "solid/seams.h"

#include "core/buckets.h"
#include "core/fans.h"
#include "core/job.h"
#include "core/lineage.h"
#include "core/sets.h"
#include "solid/seams_parts.h"

/* --- fans ------------------------------------------------------------------------------------- */

static uint32_t corner_index(const uint32_t *corner, uint32_t count, uint32_t wanted)
{
    uint32_t low = 0, high = count;
    while (high - low > 1) {
        uint32_t middle = low + (high - low) / 2;
        *(corner[middle] <= wanted ? &low : &high) = middle;
    }
    return low;
}

/* The corner at v that goes together with this one across a side of it, or NO_INDEX. */
static uint32_t corner_across(const struct seams *s, uint32_t v, uint32_t side)
{
    uint32_t twin = s->topology->twin[side];
    if (twin == TWIN_NONE)
        return NO_INDEX;
    if (twin == TWIN_MANY)
        twin = s->mate[side];
    if (twin == NO_INDEX)
        return NO_INDEX;
    twin &= ~TWIN_FLIPPED;
    return half_from(mesh_triangle(s->mesh), twin) == v ? twin : half_next(twin);
}

static void group_corners(const struct seams *s, uint32_t v, const uint32_t *corner, uint32_t count,
                          uint32_t *group)
{
    for (uint32_t i = 0; i < count; i++)
        group[i] = i;
    for (uint32_t i = 0; i < 2 * count; i++) {
        uint32_t side = i % 2 ? half_prev(corner[i / 2]) : corner[i / 2];
        uint32_t other = corner_across(s, v, side);
        if (other != NO_INDEX)
            sets_unite(group, i / 2, corner_index(corner, count, other));
    }
}

/* Where a group's triangles lie, seen from the vertex: the mean of unit vectors along its edges,
 * short when they lie around it. */
static struct vec group_way(const struct seams *s, uint32_t v, const uint32_t *corner,
                            uint32_t count, uint32_t *group, uint32_t of)
{
    struct vec here = seams_at(s, v), sum = {0};
    int edges = 0;
    for (uint32_t i = 0; i < count; i++) {
        if (sets_find(group, i) != of)
            continue;
        for (int k = 0; k < 2; k++) {
            uint32_t half = k ? half_prev(corner[i]) : half_next(corner[i]);
            struct vec to = seams_at(s, half_from(mesh_triangle(s->mesh), half));
            sum = vec_add(sum, vec_unit(vec_sub(to, here)));
            edges++;
        }
    }
    return vec_scale(sum, 1.0 / edges);
}

static bool copy_group(struct seams *s, uint32_t v, const uint32_t *corner, uint32_t count,
                       uint32_t *group, uint32_t of, double by)
{
    struct vec way = vec_unit(group_way(s, v, corner, count, group, of));
    const struct mix mix = {{v, v, v}, {1, 0, 0}};
    uint32_t copy;
    if (!seams_add(s, vec_along(seams_at(s, v), by, way), mix, &copy))
        return false;
    for (uint32_t i = 0; i < count; i++)
        if (sets_find(group, i) == of)
            s->made[corner[i] / 3].v[corner[i] % 3] = copy;
    return true;
}

static bool part_vertex(struct seams *s, uint32_t v, const uint32_t *corner, uint32_t count,
                        uint32_t *group)
{
    uint32_t keep = 0, copies = 0;
    double least = INFINITY;
    group_corners(s, v, corner, count, group);
    for (uint32_t i = 0; i < count; i++) {
        double length = sets_find(group, i) == i
                            ? vec_length(group_way(s, v, corner, count, group, i))
                            : INFINITY;
        if (length < least) {
            least = length;
            keep = i;
        }
    }
    for (uint32_t i = 0; i < count; i++)
        if (sets_find(group, i) == i && i != keep &&
            !copy_group(s, v, corner, count, group, i, ++copies * s->apart))
            return false;
    return true;
}

static enum status part_vertices(struct seams *s, const uint32_t *vertex, size_t count)
{
    struct buckets corners;
    enum status status = buckets_make(s->mesh, BUCKET_FROM, &corners, s->job);
    uint32_t *group = NULL;
    size_t most = 0;
    if (status != STATUS_OK)
        return status;
    for (size_t i = 0; i < count; i++) {
        size_t here = corners.start[vertex[i] + 1] - corners.start[vertex[i]];
        most = here > most ? here : most;
    }
    group = scratch_new(most, sizeof *group);
    bool ok = group != NULL;
    for (size_t i = 0; i < count && ok; i++) {
        uint32_t from = corners.start[vertex[i]];
        ok = part_vertex(s, vertex[i], corners.half + from, corners.start[vertex[i] + 1] - from,
                         group);
        if (i % 256 == 255 && job_cancelled(s->job) && ok) {
            status = job_fail_cancelled(s->job);
            break;
        }
    }
    scratch_free(group);
    buckets_release(&corners);
    return ok ? status : job_fail_memory(s->job, s->point.count * 64);
}

/* --- the new mesh ----------------------------------------------------------------------------- */

bool seams_add(struct seams *s, struct vec at, struct mix mix, uint32_t *vertex)
{
    struct point *point = pile_next(&s->point, sizeof *point);
    struct mix *to = pile_next(&s->mix, sizeof *to);
    if (!point || !to)
        return false;
    *point = vec_point(at);
    *to = mix;
    *vertex = (uint32_t)(mesh_vertices(s->mesh) + s->point.count);
    s->point.count++;
    s->mix.count++;
    return true;
}

static enum status build(struct seams *s, struct mesh **out)
{
    size_t vertices = mesh_vertices(s->mesh), triangles = mesh_triangles(s->mesh);
    struct mesh *made = mesh_new(vertices + s->point.count, triangles + s->extra.count);
    uint32_t *from = scratch_new(triangles + s->extra.count, sizeof *from);
    enum status status = STATUS_OK;
    if (made && from) {
        memcpy(mesh_point_edit(made), mesh_point(s->mesh), vertices * sizeof(struct point));
        if (s->point.count)
            memcpy(mesh_point_edit(made) + vertices, s->point.data,
                   s->point.count * sizeof(struct point));
        memcpy(mesh_triangle_edit(made), s->made, triangles * sizeof(struct triangle));
        for (uint32_t t = 0; t < triangles; t++)
            from[t] = t;
        for (size_t i = 0; i < s->extra.count; i++) {
            const struct seams_half *half = PILE(s->extra, struct seams_half) + i;
            mesh_triangle_edit(made)[triangles + i] = half->triangle;
            from[triangles + i] = half->from;
        }
        const struct lineage lineage = {.plain_vertices = vertices,
                                        .mix = s->mix.data,
                                        .plain_triangles = mesh_triangles(made),
                                        .triangle = from};
        status = lineage_carry(&lineage, s->mesh, made, s->job);
    } else {
        status = job_fail_memory(s->job, triangles * sizeof(struct triangle));
    }
    scratch_free(from);
    if (status == STATUS_OK)
        *out = made;
    else
        mesh_free(made);
    return status;
}

static enum status part(struct seams *s, const uint32_t *vertex, size_t count, struct mesh **out)
{
    size_t triangles = mesh_triangles(s->mesh);
    s->mate = scratch_new(3 * triangles, sizeof *s->mate);
    s->made = scratch_new(triangles, sizeof *s->made);
    if (!s->mate || !s->made)
        return job_fail_memory(s->job, triangles * 24);
    memset(s->mate, 255, 3 * triangles * sizeof *s->mate);
    memcpy(s->made, mesh_triangle(s->mesh), triangles * sizeof *s->made);
    enum status status = seams_pair(s);
    if (status == STATUS_OK)
        status = part_vertices(s, vertex, count);
    if (status == STATUS_OK)
        status = seams_split(s);
    return status == STATUS_OK ? build(s, out) : status;
}

enum status seams_part(const struct mesh *mesh, double apart, struct mesh **out,
                       struct seams_report *report, struct job *job)
{
    struct seams s = {
        .mesh = mesh, .topology = mesh_topology(mesh, job), .apart = apart, .job = job};
    uint32_t *vertex = NULL;
    size_t count = 0;
    *report = (struct seams_report){0};
    if (!s.topology)
        return job_status(job);
    report->edges = s.topology->nonmanifold;
    enum status status = fans_pinched(mesh, s.topology, &vertex, &count, job);
    if (status == STATUS_OK && count == 0)
        *out = mesh_share(mesh);
    else if (status == STATUS_OK)
        status = part(&s, vertex, count, out);
    report->vertices = s.point.count;
    scratch_free(vertex);
    scratch_free(s.mate);
    scratch_free(s.made);
    pile_release(&s.many);
    pile_release(&s.point);
    pile_release(&s.mix);
    pile_release(&s.extra);
    return status;
}
