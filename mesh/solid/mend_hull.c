/* Crossings cut, what is inside taken out, what only touches parted. */
#include "core/lineage.h"
#include "core/turn_over.h"
#include "solid/arrange.h"
#include "solid/graft.h"
#include "solid/mend_parts.h"
#include "solid/outer.h"
#include "solid/seams.h"

enum { CUT = 1, NEW = 2 }; /* marks of vertices: of a triangle that was cut; made by cutting */

/* --- the graft -------------------------------------------------------------------------------- */

static enum status take_graft(const struct mending *m, const uint8_t *mark, struct graft *g,
                              uint32_t *triangle)
{
    const struct triangle *t = mesh_triangle(m->mesh);
    size_t count = 0;
    for (uint32_t i = 0; i < mesh_triangles(m->mesh); i++)
        if (mark[t[i].v[0]] | mark[t[i].v[1]] | mark[t[i].v[2]])
            triangle[count++] = i;
    if (!graft_new(g, count))
        return STATUS_MEMORY;
    for (size_t i = 0; i < 3 * count; i++)
        g->corner[i] = t[triangle[i / 3]].v[i % 3];
    graft_number(g);
    for (size_t v = 0; v < g->vertices; v++) {
        g->at[v] = point_vec(mesh_point(m->mesh)[g->ref[v]]);
        g->whole[v] = mark[g->ref[v]] != 0;
    }
    return STATUS_OK;
}

static enum status write_graft(struct mending *m, const struct graft *g, const uint32_t *triangle)
{
    size_t vertices = mesh_vertices(m->mesh), triangles = mesh_triangles(m->mesh), kept = 0;
    struct mesh *made = mesh_new(vertices, triangles);
    uint32_t *from = scratch_new(triangles, sizeof *from);
    enum status status = STATUS_OK;
    if (made && from) {
        memcpy(mesh_point_edit(made), mesh_point(m->mesh), array_bytes(m->mesh->point));
        for (size_t v = 0; v < g->vertices; v++)
            mesh_point_edit(made)[g->ref[v]] = vec_point(g->at[v]);
        for (size_t t = 0, i = 0; t < triangles; t++) {
            struct triangle now = mesh_triangle(m->mesh)[t];
            bool in = i < g->triangles && triangle[i] == t;
            const uint32_t *corner = in ? &g->corner[3 * i++] : NULL;
            if (in && corner[0] == NO_INDEX)
                continue;
            for (int k = 0; k < 3 && in; k++)
                now.v[k] = g->ref[corner[k]];
            from[kept] = (uint32_t)t;
            mesh_triangle_edit(made)[kept++] = now;
        }
        array_shrink(made->triangle, kept);
        const struct lineage lineage = {
            .plain_vertices = vertices, .plain_triangles = kept, .triangle = from};
        status = lineage_carry(&lineage, m->mesh, made, m->job);
    } else {
        status = job_fail_memory(m->job, triangles * sizeof(struct triangle));
    }
    scratch_free(from);
    if (status == STATUS_OK)
        return mending_take(m, made);
    mesh_free(made);
    return status;
}

/* mark: one a vertex: whose triangles may change. Vertices from `made` on were made here. */
static enum status settle(struct mending *m, const uint8_t *mark, uint32_t made, double grain,
                          uint64_t *faults)
{
    struct graft g = {.job = m->job, .made = made};
    uint32_t *triangle = scratch_new(mesh_triangles(m->mesh), sizeof *triangle);
    enum status status = triangle ? take_graft(m, mark, &g, triangle)
                                  : job_fail_memory(m->job, mesh_triangles(m->mesh) * 4);
    if (status == STATUS_OK)
        status = graft_settle(&g, grain, faults);
    if (status == STATUS_OK)
        status = write_graft(m, &g, triangle);
    graft_release(&g);
    scratch_free(triangle);
    return status;
}

/* --- the hull --------------------------------------------------------------------------------- */

static bool turns(const void *context, size_t t)
{
    return ((const uint8_t *)context)[t] == OUTER_TURNS;
}

/* Turns over what faces inward, then leaves out what goes. */
static enum status take_outer(struct mending *m, struct arrangement *a, const uint8_t *way,
                              uint8_t *mark)
{
    struct mesh *turned = mesh_new_like(a->mesh);
    if (!turned)
        return job_fail_memory(m->job, sizeof *turned);
    enum status status = mesh_turn_over(turned, a->mesh, turns, way, m->job);
    if (status != STATUS_OK) {
        mesh_free(turned);
        return status;
    }
    mending_take(m, turned);
    return mending_keep(m, way, mark); /* what goes is 0 */
}

static void mark_cut(const struct arrangement *a, uint8_t *mark)
{
    size_t vertices = mesh_vertices(a->mesh);
    memset(mark, 0, a->old);
    memset(mark + a->old, CUT | NEW, vertices - a->old);
    for (size_t i = 3 * a->whole; i < 3 * mesh_triangles(a->mesh); i++)
        mark[mesh_triangle(a->mesh)[i / 3].v[i % 3]] |= CUT;
}

/* What touches itself only, parted; the vertices this makes are marked, too. */
static enum status part(struct mending *m, const uint8_t *mark, double grain, uint64_t *faults)
{
    struct seams_report report;
    struct mesh *parted = NULL;
    size_t before = mesh_vertices(m->mesh), made = 0;
    while (made < before && !(mark[made] & NEW))
        made++;
    enum status status = seams_part(m->mesh, 2 * grain, &parted, &report, m->job);
    if (status != STATUS_OK)
        return status;
    size_t after = mesh_vertices(parted);
    m->report->parted += report.vertices;
    status = mending_take(m, parted);
    uint8_t *all = scratch_new(after, 1);
    if (!all)
        return job_fail_memory(m->job, after);
    memcpy(all, mark, before);
    memset(all + before, CUT | NEW, after - before);
    status = settle(m, all, (uint32_t)made, grain, faults);
    scratch_free(all);
    return status;
}

static size_t count_gone(const struct arrangement *a, const uint8_t *way)
{
    size_t gone = 0;
    for (size_t t = 0; t < mesh_triangles(a->mesh); t++)
        gone += way[t] == OUTER_GOES;
    return gone;
}

static enum status judge(struct mending *m, struct arrangement *a, bool any, uint64_t *faults)
{
    size_t triangles = mesh_triangles(a->mesh);
    uint8_t *way = scratch_new(triangles, 1), *mark = scratch_new(mesh_vertices(a->mesh), 1);
    enum status status = STATUS_OK;
    if (way && mark)
        status = outer_judge(m->mesh, a, m->report->odd, way, m->job);
    else
        status = job_fail_memory(m->job, triangles);
    if (status == STATUS_OK) {
        size_t gone = count_gone(a, way);
        double grain = mending_grain(m->mesh);
        m->report->inner += gone;
        mark_cut(a, mark);
        if (any || gone)
            status = take_outer(m, a, way, mark);
        if (status == STATUS_OK && (any || gone) && mesh_triangles(m->mesh))
            status = part(m, mark, grain, faults);
    }
    scratch_free(way);
    scratch_free(mark);
    return status;
}

/* As a stage of the job that takes `share` permille. */
static enum status cut_once(struct mending *m, const struct crossings *pairs, unsigned share,
                            uint64_t *faults)
{
    struct arrangement a;
    struct job_part whole = job_stage(m->job, share);
    enum status status = arrange(m->mesh, pairs->pair, pairs->count, &a, m->job);
    const struct topology *topology = status == STATUS_OK ? mesh_topology(m->mesh, m->job) : NULL;
    if (status == STATUS_OK && !topology)
        status = job_status(m->job);
    *faults = 0;
    if (status == STATUS_OK)
        status = judge(m, &a, pairs->count > 0 || topology->nonmanifold_vertices > 0, faults);
    arrangement_release(&a);
    job_part_end(m->job, whole);
    return status;
}

/* --- aside ------------------------------------------------------------------------------------ */

/* A number of -1 to 1 that looks random. */
static double scatter(uint32_t v, uint32_t k)
{
    uint64_t x = ((uint64_t)v * 3 + k + 1) * 0x9E3779B97F4A7C15u;
    x = (x ^ x >> 30) * 0xBF58476D1CE4E5B9u;
    x = (x ^ x >> 27) * 0x94D049BB133111EBu;
    return (double)(x >> 11) * 0x1p-52 - 1;
}

/* The mesh with the vertices of crossing triangles moved outward by that, more or less. */
static struct mesh *moved_aside(const struct mending *m, const struct crossings *pairs, double by)
{
    const struct mesh *mesh = m->mesh;
    const struct normals *normals = mesh_normals(mesh, m->job);
    struct mesh *moved = normals ? mesh_new_like(mesh) : NULL;
    struct array *point = moved ? array_new(mesh_vertices(mesh), sizeof(struct point)) : NULL;
    if (!point) {
        if (normals)
            job_fail_memory(m->job, mesh_vertices(mesh) * sizeof(struct point));
        mesh_free(moved);
        return NULL;
    }
    array_free(moved->point);
    moved->point = point;
    memcpy(point->data, mesh_point(mesh), array_bytes(point));
    for (size_t i = 0; i < 6 * pairs->count; i++) {
        uint32_t t = i % 6 < 3 ? pairs->pair[i / 6].a : pairs->pair[i / 6].b;
        uint32_t v = mesh_triangle(mesh)[t].v[i % 3];
        struct vec way = vec(scatter(v, 0), scatter(v, 1), scatter(v, 2));
        way = vec_along(point_vec(normals->vertex[v]), 0.5, way);
        mesh_point_edit(moved)[v] = vec_point(vec_along(point_vec(mesh_point(mesh)[v]), by, way));
    }
    return moved;
}

enum { TRIES = 3 };

/* Where surfaces nearly coincide, to the last places of single precision, what rounding does cannot
 * be undone: once more from the beginning with the crossing triangles some units aside. */
static enum status try_aside(struct mending *m, const struct crossings *pairs, struct mesh *before,
                             const struct mend_report *told, uint64_t faults)
{
    static const double grains[TRIES] = {16, 64, 256};
    enum status status = STATUS_OK;
    for (int try = 0; try < TRIES && faults && status == STATUS_OK; try++) {
        struct mending other = *m;
        struct mend_report report = *told;
        struct crossings now = {0};
        uint64_t left = 0;
        double by = grains[try] * mending_grain(before);
        other.mesh = mesh_share(before);
        other.report = &report;
        status = mending_take(&other, moved_aside(&other, pairs, by));
        if (status == STATUS_OK)
            status = mending_crossings(&other, &now);
        if (status == STATUS_OK)
            status = cut_once(&other, &now, 50, &left);
        if (status == STATUS_OK && left < faults) {
            faults = left;
            *m->report = report;
            m->report->aside = fmax(report.aside, by);
            mending_take(m, mesh_share(other.mesh));
        }
        mesh_free(other.mesh);
        free(now.pair);
    }
    return status;
}

enum status mend_hull(struct mending *m, const struct crossings *pairs)
{
    struct mesh *before = mesh_share(m->mesh);
    const struct mend_report told = *m->report;
    uint64_t faults = 0;
    enum status status = cut_once(m, pairs, 400, &faults);
    if (status == STATUS_OK && faults)
        status = try_aside(m, pairs, before, &told, faults);
    mesh_free(before);
    m->report->odd = false;
    return status;
}
