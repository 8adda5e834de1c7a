/* Open parts: sheets that have no inside, folds, holes. The mesh is known by its indices here:
 * where many triangles shared an edge, vertices were doubled in their places. */
#include "solid/mend_parts.h"

static const double one_way = 0.9; /* of its area that a sheet's area vectors add up to */
enum { ALONG = 8 };                /* steps over edges within which a crossing is a fold */

struct open_parts {
    struct mending *m;
    const struct opening *opening;
    const struct topology *topology;
    struct mend_parts parts;
    uint8_t *keep; /* one a triangle */
    uint8_t *mark; /* one a vertex, see below */
    uint32_t *seen, *queue;
};

enum { FOLDED = 1, RIM = 2 }; /* marks: around a fold; on a rim there was before */

static struct vec middle_of(const struct mesh *mesh, uint32_t t)
{
    struct vec sum = {0};
    for (int k = 0; k < 3; k++)
        sum = vec_add(sum, point_vec(mesh_point(mesh)[mesh_triangle(mesh)[t].v[k]]));
    return mesh_world(mesh, vec_scale(sum, 1.0 / 3));
}

/* --- sheets ----------------------------------------------------------------------------------- */

static bool is_sheet(const struct mend_part *p)
{
    return p->open && vec_length(p->facing) > one_way * p->area;
}

static enum status refuse_sheet(const struct mending *m, const struct mend_part *p)
{
    struct vec at = middle_of(m->mesh, p->first);
    return job_fail(m->job, STATUS_REFUSED,
                    "most of the surface is an open sheet with no inside (at %.6g,%.6g,%.6g): a "
                    "solid needs its other side, too; \"fuse\" it with scans of that, or mend the "
                    "rest with open=yes",
                    at.x, at.y, at.z);
}

/* Marks the parts that go, in one pass over the triangles. */
static void drop_parts(struct open_parts *o, const uint8_t *goes)
{
    struct mend_report *report = o->m->report;
    const struct mend_part *largest = NULL;
    for (uint32_t i = 0; i < o->parts.count; i++) {
        const struct mend_part *p = &o->parts.part[i];
        if (!goes[i])
            continue;
        report->sheets++;
        report->sheet_triangles += p->triangles;
        if (!largest || p->area > largest->area)
            largest = p;
    }
    if (largest)
        report->sheet_at = middle_of(o->m->mesh, largest->first);
    for (size_t t = 0; t < mesh_triangles(o->m->mesh); t++)
        if (goes[o->parts.of[t]])
            o->keep[t] = 0;
}

static enum status drop_sheets(struct open_parts *o, bool all_open)
{
    struct mending *m = o->m;
    uint8_t *goes = scratch_new(o->parts.count, 1);
    double sheets = 0, all = 0;
    const struct mend_part *largest = NULL;
    if (!goes)
        return job_fail_memory(m->job, o->parts.count);
    for (size_t t = 0; t < o->opening->hanging; t++)
        if (o->opening->hangs[t])
            o->parts.part[o->parts.of[t]].hangs = true;
    for (size_t i = 0; i < o->parts.count; i++) {
        const struct mend_part *p = &o->parts.part[i];
        goes[i] = all_open ? p->open : is_sheet(p) && (p->hangs || !m->options->open);
        all += p->area;
        sheets += goes[i] ? p->area : 0;
        if (goes[i] && (!largest || p->area > largest->area))
            largest = p;
    }
    enum status status = STATUS_OK;
    if (largest && 2 * sheets > all && !m->options->open)
        status = refuse_sheet(m, largest);
    else if (2 * sheets <= all)
        drop_parts(o, goes);
    scratch_free(goes);
    return status;
}

/* --- folds ------------------------------------------------------------------------------------ */

/* Whether b is within a few steps of a along the surface. */
static bool is_near(struct open_parts *o, uint32_t a, uint32_t b, uint32_t stamp)
{
    size_t begin = 0, end = 0;
    o->queue[end++] = a;
    o->seen[a] = stamp;
    for (int step = 0; step < ALONG; step++)
        for (size_t last = end; begin < last; begin++) {
            uint32_t t = o->queue[begin];
            for (uint32_t h = 3 * t; h < 3 * t + 3; h++) {
                uint32_t twin = o->topology->twin[h];
                if (twin == TWIN_NONE || twin == TWIN_MANY)
                    continue;
                uint32_t next = (twin & ~TWIN_FLIPPED) / 3;
                if (next == b)
                    return true;
                if (o->seen[next] == stamp)
                    continue;
                o->seen[next] = stamp;
                o->queue[end++] = next;
            }
        }
    return false;
}

static void mark_vertices(struct open_parts *o, uint32_t t)
{
    for (int k = 0; k < 3; k++)
        o->mark[mesh_triangle(o->m->mesh)[t].v[k]] |= FOLDED;
}

static size_t drop_marked(struct open_parts *o)
{
    size_t count = 0;
    for (uint32_t t = 0; t < mesh_triangles(o->m->mesh); t++) {
        const uint32_t *v = mesh_triangle(o->m->mesh)[t].v;
        if (!o->keep[t] || !((o->mark[v[0]] | o->mark[v[1]] | o->mark[v[2]]) & FOLDED))
            continue;
        o->keep[t] = 0;
        count++;
    }
    return count;
}

/* The vertices of triangles that went are around the fold from now on. */
static void grow(struct open_parts *o, const uint8_t *before)
{
    for (uint32_t t = 0; t < mesh_triangles(o->m->mesh); t++)
        if (before[t] && !o->keep[t])
            mark_vertices(o, t);
}

static void mark_rims(struct open_parts *o)
{
    const struct triangle *t = mesh_triangle(o->m->mesh);
    for (uint32_t h = 0; h < 3 * mesh_triangles(o->m->mesh); h++)
        if (o->topology->twin[h] == TWIN_NONE) {
            o->mark[half_from(t, h)] |= RIM;
            o->mark[half_to(t, h)] |= RIM;
        }
}

static enum status drop_folds(struct open_parts *o)
{
    struct mend_report *report = o->m->report;
    const struct crossings *pairs = o->opening->pairs;
    size_t triangles = mesh_triangles(o->m->mesh), folds = 0;
    memset(o->mark, 0, mesh_vertices(o->m->mesh));
    memset(o->seen, 255, triangles * sizeof *o->seen);
    mark_rims(o);
    for (size_t i = 0; i < pairs->count; i++) {
        uint32_t a = pairs->pair[i].a, b = pairs->pair[i].b, part = o->parts.of[a];
        if (i % 256 == 255 && job_cancelled(o->m->job))
            return job_fail_cancelled(o->m->job);
        if (part != o->parts.of[b] || !o->parts.part[part].open || !o->keep[a])
            continue;
        if (!is_near(o, a, b, (uint32_t)i))
            continue;
        mark_vertices(o, a);
        mark_vertices(o, b);
        folds++;
    }
    report->folds += folds;
    for (int ring = 0; ring < o->opening->rings && folds; ring++) {
        uint8_t *before = scratch_new(triangles, 1);
        if (!before)
            return job_fail_memory(o->m->job, triangles);
        memcpy(before, o->keep, triangles);
        report->fold_triangles += drop_marked(o);
        grow(o, before);
        scratch_free(before);
    }
    return STATUS_OK;
}

/* --- holes ------------------------------------------------------------------------------------ */

static void add_fill(struct fill_report *sum, const struct fill_report *r)
{
    sum->filled += r->filled;
    sum->islands += r->islands;
    sum->rough += r->rough;
    sum->rim += r->rim;
    sum->area += r->area;
    sum->vertices += r->vertices;
    sum->triangles += r->triangles;
}

/* Of holes that are to stay open, only those where folds were are filled. */
static enum status fill(struct mending *m, uint8_t *mark)
{
    struct fill_report report;
    struct mesh *filled = NULL;
    struct fill_options options = {.shape = m->options->shape};
    if (m->options->open) {
        for (size_t v = 0; v < mesh_vertices(m->mesh); v++)
            mark[v] = mark[v] == FOLDED;
        options.where = mark;
    }
    enum status status = fill_holes(m->mesh, &options, &filled, &report, m->job);
    if (status != STATUS_OK)
        return status;
    add_fill(&m->report->fill, &report);
    return mending_take(m, filled);
}

static enum status open_init(struct open_parts *o)
{
    size_t triangles = mesh_triangles(o->m->mesh);
    o->topology = mesh_topology(o->m->mesh, o->m->job);
    enum status status =
        o->topology ? mend_parts_measure(o->m->mesh, &o->parts, o->m->job) : job_status(o->m->job);
    if (status != STATUS_OK)
        return status;
    o->keep = scratch_new(triangles, 1);
    o->mark = scratch_new(mesh_vertices(o->m->mesh), 1);
    o->seen = scratch_new(triangles, sizeof *o->seen);
    o->queue = scratch_new(triangles, sizeof *o->queue);
    if (!o->keep || !o->mark || !o->seen || !o->queue)
        return job_fail_memory(o->m->job, triangles * 10);
    memset(o->keep, 1, triangles);
    return STATUS_OK;
}

static void open_release(struct open_parts *o)
{
    mend_parts_release(&o->parts);
    scratch_free(o->keep);
    scratch_free(o->mark);
    scratch_free(o->seen);
    scratch_free(o->queue);
}

/* What could not be closed: parts so small that filling them would double their triangles. */
static enum status drop_unclosed(struct mending *m)
{
    const struct opening none = {0};
    const struct topology *topology = mesh_topology(m->mesh, m->job);
    if (!topology)
        return job_status(m->job);
    if (!topology->boundary)
        return STATUS_OK;
    struct open_parts o = {.m = m, .opening = &none};
    enum status status = open_init(&o);
    if (status == STATUS_OK)
        status = drop_sheets(&o, true);
    if (status == STATUS_OK)
        status = mending_keep(m, o.keep, NULL);
    open_release(&o);
    return status;
}

enum status mend_open(struct mending *m, const struct opening *opening)
{
    struct open_parts o = {.m = m, .opening = opening};
    enum status status = open_init(&o);
    if (status == STATUS_OK)
        status = drop_sheets(&o, false);
    if (status == STATUS_OK)
        status = drop_folds(&o);
    if (status == STATUS_OK)
        status = mending_keep(m, o.keep, o.mark);
    if (status == STATUS_OK)
        status = fill(m, o.mark);
    open_release(&o);
    return status == STATUS_OK && !m->options->open ? drop_unclosed(m) : status;
}
