/* The steps of a boolean. */
#include "solid/boolean.h"

#include <stdlib.h>

#include "core/blocks.h"
#include "core/crossings.h"
#include "core/weld.h"
#include "solid/boolean_parts.h"

static const char *const ordinal[2] = {"first", "second"};

/* --- the two meshes ----------------------------------------------------------------------------
 */

enum { BLOCK = 65536 };

/* By what flows through the faces upward (the divergence theorem for 0, 0, z): prisms under faces.
 */
static double prisms(const struct mesh *mesh, size_t begin, size_t end)
{
    const struct point *point = mesh_point(mesh);
    double sum = 0, low = (double)point[mesh_triangle(mesh)[0].v[0]].z;
    for (size_t t = begin; t < end; t++) {
        const uint32_t *v = mesh_triangle(mesh)[t].v;
        const struct point *a = &point[v[0]], *b = &point[v[1]], *c = &point[v[2]];
        double x = (double)a->x, y = (double)a->y;
        double twice =
            ((double)b->x - x) * ((double)c->y - y) - ((double)c->x - x) * ((double)b->y - y);
        sum += twice * ((double)a->z + (double)b->z + (double)c->z - 3 * low);
    }
    return sum / 6;
}

static double volume_of(const struct mesh *mesh, struct job *job)
{
    size_t count = mesh_triangles(mesh), blocks = (count + BLOCK - 1) / BLOCK;
    double *part = scratch_new(blocks, sizeof *part), sum = 0;
    if (!part) {
        job_fail_memory(job, blocks * sizeof *part);
        return 0;
    }
    int threads = blocks > 1 ? job_threads(job) : 1;
#pragma omp parallel for num_threads(threads) schedule(static)
    for (size_t b = 0; b < blocks; b++) {
        size_t end = block_end(b, BLOCK, count);
        part[b] = prisms(mesh, b * BLOCK, end);
    }
    for (size_t b = 0; b < blocks; b++)
        sum += part[b];
    scratch_free(part);
    return sum;
}

static enum status check_solid(const struct solid *s, int which, struct job *job)
{
    const struct topology *t = s->topology;
    if (mesh_triangles(s->mesh) == 0)
        return job_fail(job, STATUS_REFUSED,
                        "the %s mesh has no triangles; \"fuse\" makes a solid of points",
                        ordinal[which]);
    if (t->nonmanifold)
        return job_fail(job, STATUS_REFUSED,
                        "the %s mesh is no solid: more than two triangles meet in %zu of its "
                        "edges; \"mend\" it first",
                        ordinal[which], t->nonmanifold);
    if (t->boundary)
        return job_fail(job, STATUS_REFUSED,
                        "the %s mesh is no solid: it is open along %zu edges; \"fill\" it first",
                        ordinal[which], t->boundary);
    if (t->misoriented)
        return job_fail(job, STATUS_REFUSED,
                        "the %s mesh is no solid: its faces disagree along %zu edges; \"orient\" "
                        "it first",
                        ordinal[which], t->misoriented);
    double volume = volume_of(s->mesh, job);
    if (volume < 0)
        return job_fail(job, STATUS_REFUSED,
                        "the %s mesh faces inward (its volume is %.5g mm3); \"orient\" it first",
                        ordinal[which], volume);
    return STATUS_OK;
}

static void set_box(struct solid *s, const struct bounds *bounds)
{
    s->min = mesh_local(s->mesh, bounds->min);
    s->max = mesh_local(s->mesh, bounds->max);
    double far = 0;
    for (int k = 0; k < 3; k++)
        far = fmax(far, fabs(s->mesh->origin[k]));
    far *= 0x1p-50; /* what adding the origin may have rounded */
    s->min = vec_sub(s->min, vec(far, far, far));
    s->max = vec_add(s->max, vec(far, far, far));
}

static enum status solid_init(struct solid *s, int which, const struct mesh *mesh, struct job *job)
{
    s->mesh = mesh;
    s->point = mesh_point(mesh);
    s->triangle = mesh_triangle(mesh);
    s->topology = mesh_topology(mesh, job);
    const struct bounds *bounds = s->topology ? mesh_bounds(mesh, job) : NULL;
    if (!bounds)
        return job_status(job);
    enum status status = check_solid(s, which, job);
    if (status != STATUS_OK)
        return status;
    set_box(s, bounds);
    size_t vertices = mesh_vertices(mesh), faces = mesh_triangles(mesh);
    s->node_after = scratch_zeros(vertices, sizeof *s->node_after);
    s->vertex_fate = scratch_zeros(vertices, 1);
    s->face_fate = scratch_zeros(faces, 1);
    if (!s->node_after || !s->vertex_fate || !s->face_fate)
        return job_fail_memory(job, vertices * 5 + faces);
    return STATUS_OK;
}

static void joint_release(struct joint *j)
{
    for (int s = 0; s < 2; s++) {
        struct solid *solid = &j->side[s];
        mesh_free(solid->part);
        scratch_free(solid->node_after);
        scratch_free(solid->vertex_fate);
        scratch_free(solid->face_fate);
        pile_release(&solid->touched);
        pile_release(&solid->stop);
        pile_release(&solid->line);
        pile_release(&solid->bound);
        pile_release(&solid->near);
    }
    pile_release(&j->pair);
    pile_release(&j->node);
    pile_release(&j->seam);
    pile_release(&j->overlap);
    pile_release(&j->made);
    pile_release(&j->place);
    pile_release(&j->copy);
    lookup_release(&j->node_at);
    lookup_release(&j->overlap_at);
}

static double largest(const struct solid *s)
{
    return fmax(fmax(fmax(fabs(s->min.x), fabs(s->max.x)), fmax(fabs(s->min.y), fabs(s->max.y))),
                fmax(fabs(s->min.z), fabs(s->max.z)));
}

/* --- the steps ---------------------------------------------------------------------------------
 */

static enum status cut(struct joint *j, struct mesh **out)
{
    enum status status = joint_nodes(j);
    if (status == STATUS_OK)
        status = joint_lines(j);
    if (status == STATUS_OK)
        joint_overlaps(j);
    if (status == STATUS_OK)
        status = joint_bounds(j);
    if (status == STATUS_OK)
        status = joint_fates(j);
    job_phase(j->job, "cutting triangles", 300, 0);
    if (status == STATUS_OK)
        status = joint_faces(j);
    if (status == STATUS_OK)
        status = joint_part(j);
    if (status == STATUS_OK)
        status = joint_mend(j);
    if (status == STATUS_OK && j->report.crossings)
        status = joint_own_crossings(j);
    return status == STATUS_OK ? joint_assemble(j, out) : status;
}

static enum status joint_init(struct joint *j, struct mesh *const mesh[2], enum boolean_kind kind,
                              struct job *job)
{
    static const enum fate wanted[3][2] = {[BOOLEAN_SUBTRACT] = {OUTSIDE, INSIDE},
                                           [BOOLEAN_UNITE] = {OUTSIDE, OUTSIDE},
                                           [BOOLEAN_COMMON] = {INSIDE, INSIDE}};
    *j = (struct joint){.kind = kind, .job = job};
    for (int s = 0; s < 2; s++) {
        j->side[s].wanted = wanted[kind][s];
        enum status status = solid_init(&j->side[s], s, mesh[s], job);
        if (status != STATUS_OK)
            return status;
    }
    j->side[1].base = (uint32_t)mesh_vertices(mesh[0]);
    j->grain = 0x1p-23 * fmax(largest(&j->side[0]), largest(&j->side[1]));
    return STATUS_OK;
}

/* The same mesh elsewhere; NULL when there is no memory. */
static struct mesh *shifted(const struct mesh *mesh, struct vec by, struct job *job)
{
    struct mesh *moved = mesh_new_like(mesh);
    struct array *point = moved ? array_new(mesh_vertices(mesh), sizeof(struct point)) : NULL;
    if (!point) {
        mesh_free(moved);
        job_fail_memory(job, mesh_vertices(mesh) * sizeof(struct point));
        return NULL;
    }
    array_free(moved->point);
    moved->point = point;
    for (size_t v = 0; v < mesh_vertices(mesh); v++)
        mesh_point_edit(moved)[v] = vec_point(vec_add(point_vec(mesh_point(mesh)[v]), by));
    return moved;
}

enum { SNAPS = 4 };

/* Again when vertices were moved onto others on the way: then others may meet. */
static enum status run(struct mesh *mesh[2], enum boolean_kind kind, struct mesh **out,
                       struct boolean_report *report, struct job *job)
{
    for (int snaps = SNAPS;; snaps--) {
        struct joint j;
        struct mesh *snapped = NULL;
        enum status status = joint_init(&j, mesh, kind, job);
        if (status == STATUS_OK)
            status = joint_pairs(&j);
        if (status == STATUS_OK && snaps)
            status = joint_snap(&j, &snapped);
        if (status == STATUS_OK && !snapped)
            status = cut(&j, out);
        *report = j.report;
        joint_release(&j);
        if (status != STATUS_OK || !snapped)
            return status;
        mesh_free(mesh[1]);
        mesh[1] = snapped;
    }
}

enum { TRIES = 8 };

/* Where rounding left crossings that could not be mended (edges that run along each other, all but
 * exactly), again with the second mesh aside: by a few units in the last place, then twice as many
 * each time, up to six hundred-thousandths of the size. */
static enum status run_aside(struct mesh *mesh[2], enum boolean_kind kind, struct mesh **out,
                             struct boolean_report *report, struct job *job)
{
    static const struct vec way[TRIES] = {
        {0, 0, 0},          {0.48, -0.36, 0.80}, {-0.60, 0.64, 0.48}, {0.28, 0.96, -0.07},
        {0.48, 0.36, 0.80}, {0.60, -0.64, 0.48}, {-0.28, 0.96, 0.07}, {-0.48, -0.36, -0.80}};
    enum status status = run(mesh, kind, out, report, job);
    for (int try = 1; try < TRIES && status == STATUS_OK && report->crossings; try++) {
        double most = 0;
        for (int s = 0; s < 2; s++) {
            const struct bounds *b = mesh_bounds(mesh[s], job);
            struct vec p = mesh_local(mesh[s], b->min), q = mesh_local(mesh[s], b->max);
            for (int k = 0; k < 3; k++)
                most = fmax(most, fmax(fabs((&p.x)[k]), fabs((&q.x)[k])));
        }
        struct vec by = vec_scale(way[try], (4 << try) * 0x1p-23 * most);
        struct mesh *aside[2] = {mesh[0], shifted(mesh[1], by, job)};
        struct mesh *other = NULL;
        struct boolean_report now;
        if (!aside[1])
            return mesh_free(*out), job_status(job);
        status = run(aside, kind, &other, &now, job);
        mesh_free(aside[1]);
        now.aside = vec_length(by);
        if (status == STATUS_OK && now.crossings < report->crossings) {
            struct mesh *worse = *out;
            *out = other;
            other = worse;
            *report = now;
        }
        mesh_free(other);
        if (status == STATUS_REFUSED) { /* empty so: keep what there is */
            job_forgive(job);
            return STATUS_OK;
        }
        if (status != STATUS_OK)
            mesh_free(*out);
    }
    return status;
}

/* The mesh joined, and beside a's origin; a new holder. */
static struct mesh *prepared(const struct mesh *mesh, const double origin[3], struct job *job)
{
    struct vec by =
        vec(mesh->origin[0] - origin[0], mesh->origin[1] - origin[1], mesh->origin[2] - origin[2]);
    if (by.x == 0 && by.y == 0 && by.z == 0)
        return mesh->joined ? mesh_share(mesh) : weld_exact(mesh, job);
    struct mesh *moved = shifted(mesh, by, job);
    if (!moved)
        return NULL;
    memcpy(moved->origin, origin, sizeof moved->origin);
    moved->joined = false;
    struct mesh *joined = weld_exact(moved, job);
    mesh_free(moved);
    return joined;
}

enum status boolean_mesh(const struct mesh *a, const struct mesh *b, enum boolean_kind kind,
                         struct mesh **out, struct boolean_report *report, struct job *job)
{
    struct mesh *mesh[2] = {prepared(a, a->origin, job), NULL};
    struct boolean_report unread;
    mesh[1] = mesh[0] ? prepared(b, a->origin, job) : NULL;
    enum status status =
        mesh[1] ? run_aside(mesh, kind, out, report ? report : &unread, job) : job_status(job);
    mesh_free(mesh[0]);
    mesh_free(mesh[1]);
    return status;
}
