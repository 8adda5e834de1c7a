/* Which side of the surface is out. */
#include "core/turn_over.h"
#include "solid/mend_parts.h"
#include "solid/outer.h"
#include "surface/orient.h"

/* --- parts ------------------------------------------------------------------------------------ */

static struct vec corner(const struct mesh *mesh, size_t t, int k)
{
    return point_vec(mesh_point(mesh)[mesh_triangle(mesh)[t].v[k]]);
}

static void add_triangle(struct mend_part *p, const struct mesh *mesh, uint32_t t)
{
    struct vec o = corner(mesh, p->first, 0), a = vec_sub(corner(mesh, t, 0), o);
    struct vec b = vec_sub(corner(mesh, t, 1), o), c = vec_sub(corner(mesh, t, 2), o);
    struct vec n = vec_scale(vec_cross(vec_sub(b, a), vec_sub(c, a)), 0.5);
    p->triangles++;
    p->area += vec_length(n);
    p->facing = vec_add(p->facing, n);
    p->volume += vec_dot(a, vec_cross(b, c)) / 6;
}

enum status mend_parts_measure(const struct mesh *mesh, struct mend_parts *out, struct job *job)
{
    const struct components *components = mesh_components(mesh, job);
    const struct topology *topology = components ? mesh_topology(mesh, job) : NULL;
    *out = (struct mend_parts){0};
    if (!topology)
        return job_status(job);
    size_t triangles = mesh_triangles(mesh);
    out->count = components->count;
    out->of = scratch_new(triangles, sizeof *out->of);
    out->part = scratch_new(out->count, sizeof *out->part);
    if (!out->of || !out->part)
        return job_fail_memory(job, triangles * sizeof *out->of);
    for (size_t i = 0; i < out->count; i++)
        out->part[i] = (struct mend_part){.first = NO_INDEX};
    for (uint32_t t = 0; t < triangles; t++) {
        struct mend_part *p = &out->part[out->of[t] = components->of[t]];
        if (p->first == NO_INDEX)
            p->first = t;
        add_triangle(p, mesh, t);
        for (uint32_t h = 3 * t; h < 3 * t + 3; h++)
            p->open = p->open || topology->twin[h] == TWIN_NONE;
        if (t % 65536 == 65535 && job_cancelled(job))
            return job_fail_cancelled(job);
    }
    return STATUS_OK;
}

void mend_parts_release(struct mend_parts *parts)
{
    scratch_free(parts->of);
    scratch_free(parts->part);
    *parts = (struct mend_parts){0};
}

/* --- agreeing --------------------------------------------------------------------------------- */

struct turning {
    const uint8_t *turns; /* one a part, */
    const uint32_t *of;   /* one a triangle */
};

static bool turns(const void *context, size_t t)
{
    const struct turning *turning = context;
    return turning->turns[turning->of[t]];
}

static enum status turn_parts(struct mending *m, const struct mend_parts *parts,
                              const uint8_t *which)
{
    const struct turning turning = {which, parts->of};
    struct mesh *made = mesh_new_like(m->mesh);
    if (!made)
        return job_fail_memory(m->job, sizeof *made);
    enum status status = mesh_turn_over(made, m->mesh, turns, &turning, m->job);
    if (status == STATUS_OK)
        return mending_take(m, made);
    mesh_free(made);
    return status;
}

/* Closed parts keep the side that most of their triangles faced: `before` is the mesh that was.
 * (What lies inside what cannot be told before bodies that overlap are cut.) */
static enum status keep_sides(struct mending *m, const struct mesh *before)
{
    struct mend_parts parts;
    enum status status = mend_parts_measure(m->mesh, &parts, m->job);
    size_t *turned = scratch_new(parts.count, sizeof *turned);
    uint8_t *back = scratch_new(parts.count, 1);
    bool any = false;
    if (status == STATUS_OK && (!turned || !back))
        status = job_fail_memory(m->job, parts.count * sizeof *turned);
    for (size_t i = 0; i < parts.count && status == STATUS_OK; i++)
        turned[i] = 0;
    for (size_t t = 0; t < mesh_triangles(m->mesh) && status == STATUS_OK; t++)
        turned[parts.of[t]] += mesh_triangle(m->mesh)[t].v[1] != mesh_triangle(before)[t].v[1];
    for (size_t i = 0; i < parts.count && status == STATUS_OK; i++) {
        const struct mend_part *p = &parts.part[i];
        back[i] = !p->open && 2 * turned[i] > p->triangles;
        any = any || back[i];
        m->report->turned += back[i] ? p->triangles - turned[i] : turned[i];
    }
    if (any && status == STATUS_OK)
        status = turn_parts(m, &parts, back);
    scratch_free(turned);
    scratch_free(back);
    mend_parts_release(&parts);
    return status;
}

/* A closed part that faces inward bounds a hollow, unless there is nothing around it. */
static enum status turn_inward(struct mending *m)
{
    struct mend_parts parts;
    enum status status = mend_parts_measure(m->mesh, &parts, m->job);
    uint8_t *over = scratch_new(parts.count, 1);
    bool any = false;
    if (status == STATUS_OK && !over)
        status = job_fail_memory(m->job, parts.count);
    for (size_t i = 0; i < parts.count && status == STATUS_OK; i++) {
        const struct mend_part *p = &parts.part[i];
        bool hollow = false;
        over[i] = !p->open && p->volume < 0;
        if (over[i] && parts.count > 1)
            status = outer_encloses(m->mesh, parts.of, p->first, &hollow, m->job);
        over[i] = over[i] && !hollow;
        m->report->turned += over[i] ? p->triangles : 0;
        any = any || over[i];
    }
    if (any && status == STATUS_OK)
        status = turn_parts(m, &parts, over);
    scratch_free(over);
    mend_parts_release(&parts);
    return status;
}

enum status mend_sides(struct mending *m)
{
    const struct topology *topology = mesh_topology(m->mesh, m->job);
    if (!topology)
        return job_status(m->job);
    if (topology->misoriented || topology->boundary) {
        struct orient_report report;
        struct mesh *before = mesh_share(m->mesh);
        enum status status = mending_take(m, orient(m->mesh, &report, m->job));
        m->report->odd = m->report->odd || (status == STATUS_OK && report.one_sided > 0);
        if (status == STATUS_OK && report.turned)
            status = keep_sides(m, before);
        mesh_free(before);
        if (status != STATUS_OK)
            return status;
    }
    return turn_inward(m);
}
