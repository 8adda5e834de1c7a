#include "solid/mend.h"

#include "core/join.h"
#include "core/subset.h"
#include "core/weld.h"
#include "solid/mend_parts.h"
#include "solid/seams.h"
#include "surface/weld_near.h"

enum { PASSES = 8 };

/* --- what the steps share --------------------------------------------------------------------- */

enum status mending_take(struct mending *m, struct mesh *next)
{
    if (!next)
        return job_status(m->job);
    mesh_free(m->mesh);
    m->mesh = next;
    return STATUS_OK;
}

double mending_grain(const struct mesh *mesh)
{
    float most = 0;
    for (size_t v = 0; v < mesh_vertices(mesh); v++) {
        struct point p = mesh_point(mesh)[v];
        most = fmaxf(most, fmaxf(fabsf(p.x), fmaxf(fabsf(p.y), fabsf(p.z))));
    }
    return 0x1p-23 * (double)most;
}

static enum status close_up(const struct mending *m, const uint8_t *keep, uint8_t *mark)
{
    size_t vertices = mesh_vertices(m->mesh), kept = 0;
    uint8_t *used = scratch_new(vertices, 1);
    if (!used)
        return job_fail_memory(m->job, vertices);
    memset(used, 0, vertices);
    for (size_t i = 0; i < 3 * mesh_triangles(m->mesh); i++)
        if (keep[i / 3])
            used[mesh_triangle(m->mesh)[i / 3].v[i % 3]] = 1;
    for (size_t v = 0; v < vertices; v++)
        if (used[v])
            mark[kept++] = mark[v];
    scratch_free(used);
    return STATUS_OK;
}

enum status mending_keep(struct mending *m, const uint8_t *keep, uint8_t *mark)
{
    bool all = !memchr(keep, 0, mesh_triangles(m->mesh));
    enum status status = mark && !all ? close_up(m, keep, mark) : STATUS_OK;
    return status == STATUS_OK ? mending_take(m, mesh_subset(m->mesh, keep, m->job)) : status;
}

enum status mending_crossings(const struct mending *m, struct crossings *out)
{
    uint64_t count;
    *out = (struct crossings){0};
    job_phase(m->job, "looking for crossings", 150, mesh_triangles(m->mesh));
    return crossings_find(m->mesh, SIZE_MAX / sizeof(struct crossing) / 4, &out->pair, &out->count,
                          &count, m->job);
}

static enum status join(struct mending *m)
{
    struct mesh *loose = mesh_new_like(m->mesh);
    if (!loose)
        return job_fail_memory(m->job, sizeof *loose);
    loose->joined = false;
    enum status status = mending_take(m, weld_exact(loose, m->job));
    mesh_free(loose);
    return status;
}

static enum status nothing_left(const struct mending *m)
{
    return job_fail(
        m->job, STATUS_REFUSED,
        "nothing would be left: the surface has no inside%s; \"fuse\" scans of all its "
        "sides, or open the file that it was made of",
        m->report->degenerate || m->report->doubled ? " (it is lines, or doubled sheets)" : "");
}

/* --- one pass --------------------------------------------------------------------------------- */

static enum status list_hanging(const struct mending *m, uint8_t **hangs)
{
    const struct topology *topology = mesh_topology(m->mesh, m->job);
    size_t triangles = mesh_triangles(m->mesh);
    *hangs = topology ? scratch_new(triangles, 1) : NULL;
    if (!*hangs)
        return topology ? job_fail_memory(m->job, triangles) : job_status(m->job);
    for (size_t t = 0; t < triangles; t++) {
        const uint32_t *twin = topology->twin + 3 * t;
        (*hangs)[t] = twin[0] == TWIN_MANY || twin[1] == TWIN_MANY || twin[2] == TWIN_MANY;
    }
    return STATUS_OK;
}

/* Parts edges of many, by index alone: the mesh counts as joined until all this is done. */
static enum status cut_seams(struct mending *m)
{
    struct seams_report report;
    struct mesh *cut = NULL;
    enum status status = seams_part(m->mesh, 0, &cut, &report, m->job);
    if (status != STATUS_OK)
        return status;
    m->report->seams += report.edges;
    if (cut != m->mesh)
        cut->joined = true;
    return mending_take(m, cut);
}

/* Rims whose vertices lie in one place but for the last bit are a seam, not a hole. */
static enum status join_rims(struct mending *m)
{
    struct weld_report report;
    const struct topology *topology = mesh_topology(m->mesh, m->job);
    if (!topology)
        return job_status(m->job);
    if (!topology->boundary)
        return STATUS_OK;
    struct job_part whole = job_stage(m->job, 50);
    struct mesh *joined = weld_near(m->mesh, 2 * mending_grain(m->mesh), true, &report, m->job);
    job_part_end(m->job, whole);
    if (joined && !report.joined) {
        mesh_free(joined);
        return STATUS_OK;
    }
    m->report->joined += joined ? report.joined : 0;
    return mending_take(m, joined);
}

static enum status sides_in(struct mending *m, unsigned share)
{
    struct job_part whole = job_stage(m->job, share);
    enum status status = mend_sides(m);
    job_part_end(m->job, whole);
    return status;
}

static enum status open_in(struct mending *m, const struct opening *opening, unsigned share)
{
    struct job_part whole = job_stage(m->job, share);
    enum status status = mend_open(m, opening);
    job_part_end(m->job, whole);
    return status;
}

/* Sides, sheets, folds and holes. */
static enum status straighten(struct mending *m, int pass)
{
    struct crossings pairs = {0};
    struct opening opening = {.pairs = &pairs, .rings = 1 + pass};
    const struct topology *topology = mesh_topology(m->mesh, m->job);
    if (!topology)
        return job_status(m->job);
    size_t boundary = topology->boundary, seams = topology->nonmanifold;
    if (!boundary && !topology->misoriented)
        return sides_in(m, 1000);
    uint8_t *hangs = NULL;
    enum status status = boundary ? mending_crossings(m, &pairs) : STATUS_OK;
    if (status == STATUS_OK)
        status = list_hanging(m, &hangs);
    opening.hangs = hangs;
    opening.hanging = mesh_triangles(m->mesh);
    if (status == STATUS_OK && seams)
        status = cut_seams(m);
    if (status == STATUS_OK)
        status = sides_in(m, 200);
    if (status == STATUS_OK && boundary)
        status = open_in(m, &opening, 450);
    if (status == STATUS_OK)
        status = join(m);
    if (status == STATUS_OK && boundary)
        status = sides_in(m, 200); /* what is closed now may prove to face inward */
    scratch_free(hangs);
    free(pairs.pair);
    return status;
}

/* Whether the mesh is a solid but for crossings and parts inside each other. */
static enum status is_manifold(const struct mending *m, bool *is, size_t *parts)
{
    const struct topology *t = mesh_topology(m->mesh, m->job);
    const struct components *c = t ? mesh_components(m->mesh, m->job) : NULL;
    if (!c)
        return job_status(m->job);
    *is = !t->boundary && !t->nonmanifold && !t->misoriented && !t->nonmanifold_vertices;
    *parts = c->count;
    return STATUS_OK;
}

static enum status straighten_in(struct mending *m, int pass, unsigned share)
{
    struct job_part whole = job_stage(m->job, share);
    enum status status = straighten(m, pass);
    job_part_end(m->job, whole);
    return status;
}

static enum status hull_in(struct mending *m, const struct crossings *pairs, unsigned share)
{
    struct job_part whole = job_stage(m->job, share);
    enum status status = mend_hull(m, pairs);
    job_part_end(m->job, whole);
    return status;
}

/* *done: there was nothing to do. */
static enum status pass_once(struct mending *m, int pass, bool *done)
{
    struct crossings pairs = {0};
    bool manifold = false;
    size_t parts = 0;
    enum status status = mend_clean(m);
    if (status == STATUS_OK && pass == 0)
        status = join_rims(m);
    if (status == STATUS_OK && mesh_triangles(m->mesh) == 0)
        return nothing_left(m);
    if (status == STATUS_OK)
        status = straighten_in(m, pass, 350);
    if (status == STATUS_OK)
        status = mend_clean(m);
    if (status == STATUS_OK && mesh_triangles(m->mesh) == 0)
        return nothing_left(m);
    if (status == STATUS_OK)
        status = is_manifold(m, &manifold, &parts);
    if (status == STATUS_OK)
        status = mending_crossings(m, &pairs);
    bool sound = manifold && !pairs.count;
    *done = status == STATUS_OK && sound && (parts == 1 || pass > 0);
    if (status == STATUS_OK && !*done) {
        size_t inner = m->report->inner;
        if (pass == 0)
            m->report->crossings = pairs.count;
        status = hull_in(m, &pairs, 450);
        if (status == STATUS_OK && mesh_triangles(m->mesh) == 0)
            status = nothing_left(m);
        *done = sound && m->report->inner == inner;
        if (status == STATUS_OK && !*done)
            status = join(m);
    }
    free(pairs.pair);
    return status;
}

enum { FILM = 8 }; /* units of single precision */

/* Bodies that cutting left, thinner than can be told from none. */
static enum status drop_films(struct mending *m)
{
    struct mend_parts parts = {0};
    const struct bounds *box = mesh_bounds(m->mesh, m->job);
    enum status status = box ? mend_parts_measure(m->mesh, &parts, m->job) : job_status(m->job);
    uint8_t *keep = scratch_new(mesh_triangles(m->mesh), 1);
    if (status == STATUS_OK && !keep)
        status = job_fail_memory(m->job, mesh_triangles(m->mesh));
    if (status == STATUS_OK) {
        struct vec low = mesh_local(m->mesh, box->min), high = mesh_local(m->mesh, box->max);
        double most = 0;
        for (int k = 0; k < 3; k++)
            most = fmax(most, fmax(fabs((&low.x)[k]), fabs((&high.x)[k])));
        double least = fmax(FILM * 0x1p-23 * most, 2 * m->report->aside);
        for (size_t t = 0; t < mesh_triangles(m->mesh); t++) {
            const struct mend_part *p = &parts.part[parts.of[t]];
            keep[t] = parts.count == 1 || 2 * fabs(p->volume) > least * p->area;
            m->report->inner += !keep[t];
        }
        status = mending_keep(m, keep, NULL);
    }
    scratch_free(keep);
    mend_parts_release(&parts);
    return status;
}

static enum status mend_closed(struct mending *m)
{
    bool done = false;
    int pass = 0;
    enum status status = STATUS_OK;
    for (; pass < PASSES && !done && status == STATUS_OK; pass++) {
        /* nobody knows how many there will be: each takes part of what is left */
        struct job_part whole = job_stage(m->job, 500u >> pass);
        status = pass_once(m, pass, &done);
        job_part_end(m->job, whole);
    }
    if (status == STATUS_OK && pass > 1)
        status = drop_films(m);
    return status == STATUS_OK && mesh_triangles(m->mesh) == 0 ? nothing_left(m) : status;
}

/* --- with holes left open --------------------------------------------------------------------- */

enum { FOLD_PASSES = 3 };

/* The closed parts, or those that are not; NULL on failure. */
static struct mesh *parts_of(const struct mending *m, const struct mend_parts *parts, bool open,
                             uint8_t *keep)
{
    for (size_t t = 0; t < mesh_triangles(m->mesh); t++)
        keep[t] = parts->part[parts->of[t]].open == open;
    return mesh_subset(m->mesh, keep, m->job);
}

static enum status mend_apart(struct mending *m, const struct mend_parts *parts)
{
    struct mending closed = *m;
    uint8_t *keep = scratch_new(mesh_triangles(m->mesh), 1);
    if (!keep)
        return job_fail_memory(m->job, mesh_triangles(m->mesh));
    struct mesh *open = parts_of(m, parts, true, keep), *both = NULL;
    struct mesh *before = open ? parts_of(m, parts, false, keep) : NULL;
    enum status status = before ? STATUS_OK : job_status(m->job);
    closed.mesh = status == STATUS_OK ? mesh_share(before) : NULL;
    if (status == STATUS_OK)
        status = mend_closed(&closed);
    if (status == STATUS_OK && closed.mesh != before) {
        const struct mesh *const two[2] = {closed.mesh, open};
        both = mesh_join(two, 2, m->job);
        status = mending_take(m, both);
        if (status == STATUS_OK)
            status = join(m);
    }
    mesh_free(closed.mesh);
    mesh_free(before);
    mesh_free(open);
    scratch_free(keep);
    return status;
}

static enum status mend_leaving_holes(struct mending *m)
{
    struct mend_parts parts = {0};
    size_t folds, opens = 0;
    enum status status = STATUS_OK;
    for (int pass = 0; pass < FOLD_PASSES && status == STATUS_OK; pass++) {
        folds = m->report->folds;
        status = mend_clean(m);
        if (status == STATUS_OK && pass == 0)
            status = join_rims(m);
        if (status == STATUS_OK && mesh_triangles(m->mesh) == 0)
            return nothing_left(m);
        if (status == STATUS_OK)
            status = straighten_in(m, pass, 150);
        if (folds == m->report->folds)
            break;
    }
    if (status == STATUS_OK)
        status = mend_parts_measure(m->mesh, &parts, m->job);
    for (size_t i = 0; i < parts.count && status == STATUS_OK; i++)
        opens += parts.part[i].open;
    if (status == STATUS_OK && opens < parts.count)
        status = opens ? mend_apart(m, &parts) : mend_closed(m);
    mend_parts_release(&parts);
    return status;
}

/* --- all -------------------------------------------------------------------------------------- */

/* What is wrong still. */
static enum status count_left(struct mending *m)
{
    struct crossings pairs = {0};
    const struct topology *t = mesh_topology(m->mesh, m->job);
    enum status status = t ? mending_crossings(m, &pairs) : job_status(m->job);
    if (status != STATUS_OK)
        return status;
    m->report->left = pairs.count + t->nonmanifold + t->misoriented +
                      (m->options->open ? 0 : t->boundary + t->nonmanifold_vertices);
    uint32_t at = pairs.count ? pairs.pair[0].a : 0;
    for (uint32_t h = 0; h < 3 * mesh_triangles(m->mesh) && m->report->left && !pairs.count; h++)
        if (t->twin[h] & TWIN_FLIPPED && !(m->options->open && t->twin[h] == TWIN_NONE)) {
            at = h / 3;
            break;
        }
    const uint32_t *v = mesh_triangle(m->mesh)[at].v;
    m->report->left_at = mesh_world(m->mesh, point_vec(mesh_point(m->mesh)[v[0]]));
    free(pairs.pair);
    return STATUS_OK;
}

/* Vertices that no triangle uses go: *count of them. */
static enum status drop_unused(struct mending *m, size_t *count)
{
    const struct topology *topology = mesh_topology(m->mesh, m->job);
    size_t vertices = mesh_vertices(m->mesh);
    if (!topology)
        return job_status(m->job);
    *count = topology->unused_vertices;
    if (!*count)
        return STATUS_OK;
    uint8_t *used = scratch_new(vertices, 1);
    if (!used)
        return job_fail_memory(m->job, vertices);
    for (size_t v = 0; v < vertices; v++)
        used[v] = topology->fan[v] != NO_INDEX;
    enum status status = mending_take(m, mesh_subset_points(m->mesh, used, m->job));
    scratch_free(used);
    return status;
}

enum status mend(const struct mesh *mesh, const struct mend_options *options, struct mesh **out,
                 struct mend_report *report, struct job *job)
{
    *report = (struct mend_report){0};
    struct mending m = {.options = options, .report = report, .job = job};
    if (mesh_triangles(mesh) == 0)
        return job_fail(job, STATUS_REFUSED,
                        "a point cloud has no surface to mend; \"fuse\" makes a solid of it");
    size_t orphans; /* that lost their triangles here: told with those */
    enum status status = mending_take(&m, weld_exact(mesh, job));
    if (status == STATUS_OK)
        status = drop_unused(&m, &report->unused);
    if (status == STATUS_OK)
        status = options->open ? mend_leaving_holes(&m) : mend_closed(&m);
    report->changed =
        status == STATUS_OK && (m.mesh->point != mesh->point || m.mesh->triangle != mesh->triangle);
    if (status == STATUS_OK && report->changed)
        status = drop_unused(&m, &orphans);
    if (status == STATUS_OK && report->changed)
        status = count_left(&m);
    if (status == STATUS_OK)
        *out = report->changed ? mesh_share(m.mesh) : mesh_share(mesh);
    mesh_free(m.mesh);
    return status;
}
