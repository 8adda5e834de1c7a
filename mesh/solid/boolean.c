/* The steps of a boolean, and its result put together. */
#include "solid/boolean.h"

#include <stdlib.h>

#include "core/crossings.h"
#include "core/join.h"
#include "core/weld.h"
#include "solid/boolean_parts.h"

static const char *const ordinal[2] = {"first", "second"};

/* --- the two meshes ----------------------------------------------------------------------------
 */

enum { BLOCK = 65536 };

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
        size_t end = (b + 1) * BLOCK < count ? (b + 1) * BLOCK : count;
        part[b] = 0;
        for (size_t t = b * BLOCK; t < end; t++) {
            const uint32_t *v = mesh_triangle(mesh)[t].v;
            struct vec o = point_vec(mesh_point(mesh)[mesh_triangle(mesh)[0].v[0]]), p[3];
            for (int k = 0; k < 3; k++)
                p[k] = vec_sub(point_vec(mesh_point(mesh)[v[k]]), o);
            part[b] += vec_dot(p[0], vec_cross(p[1], p[2])) / 6;
        }
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
    s->node_of = scratch_new(vertices, sizeof *s->node_of);
    s->vertex_fate = scratch_new(vertices, 1);
    s->face_fate = scratch_new(faces, 1);
    if (!s->node_of || !s->vertex_fate || !s->face_fate)
        return job_fail_memory(job, vertices * 5 + faces);
    memset(s->node_of, 255, vertices * sizeof *s->node_of);
    memset(s->vertex_fate, UNKNOWN, vertices);
    memset(s->face_fate, UNKNOWN, faces);
    return STATUS_OK;
}

static void joint_release(struct joint *j)
{
    for (int s = 0; s < 2; s++) {
        struct solid *solid = &j->side[s];
        mesh_free(solid->part);
        scratch_free(solid->node_of);
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

/* --- the result --------------------------------------------------------------------------------
 */

struct assembly {
    struct joint *j;
    uint32_t *number;   /* one a ref: its new number */
    uint32_t *vertex;   /* of the lineage */
    uint32_t *triangle; /* likewise */
    struct mix *mix;
    size_t plain, mixes, whole[2];
    struct mesh *mesh;
};

#define ABSENT NO_INDEX
enum { PRESENT = 0, LOOK = 65536 };

/* Whether to go on, asked now and then in long loops. */
static bool going(const struct assembly *a, size_t i)
{
    return i % LOOK != 0 || !job_cancelled(a->j->job);
}

static void mark(struct assembly *a)
{
    struct joint *j = a->j;
    for (int s = 0; s < 2; s++) {
        const struct solid *own = &j->side[s];
        for (size_t t = 0; t < mesh_triangles(own->mesh) && going(a, t); t++) {
            if (!joint_keeps(j, s, (uint32_t)t))
                continue;
            a->whole[s]++;
            for (int k = 0; k < 3; k++)
                a->number[own->base + own->triangle[t].v[k]] = PRESENT;
        }
        for (size_t i = 0; i < j->node.count; i++) { /* kept faces have nodes for vertices */
            struct node *node = joint_node(j, (uint32_t)i);
            if (node->in[s].kind != VERTEX)
                continue;
            uint32_t *own_number = &a->number[own->base + node->in[s].id];
            if (*own_number == PRESENT && node->ref != own->base + node->in[s].id) {
                *own_number = ABSENT;
                a->number[node->ref] = PRESENT;
            }
        }
    }
    for (size_t i = 0; i < 3 * j->made.count; i++)
        a->number[PILE(j->made, struct made_triangle)[i / 3].v[i % 3]] = PRESENT;
}

static void mix_between(const struct joint *j, const struct node *node, struct mix *mix)
{
    const struct solid *a = &j->side[0];
    uint32_t v[3];
    struct vec p[3], at = node->at;
    double w[3] = {0};
    if (node->in[0].kind == EDGE) {
        v[0] = v[2] = solid_from(a, node->in[0].id);
        v[1] = solid_to(a, node->in[0].id);
        double u = vec_length(vec_sub(at, solid_at(a, v[0])));
        double rest = vec_length(vec_sub(at, solid_at(a, v[1])));
        w[1] = u + rest > 0 ? u / (u + rest) : 0.5;
        w[0] = 1 - w[1];
    } else {
        memcpy(v, a->triangle[node->in[0].id].v, sizeof v);
        solid_face(a, node->in[0].id, p);
        struct vec n = vec_cross(vec_sub(p[1], p[0]), vec_sub(p[2], p[0]));
        double whole = vec_length2(n);
        for (int k = 1; k < 3 && whole > 0; k++) {
            struct vec from = vec_sub(p[(k + 1) % 3], at), to = vec_sub(p[(k + 2) % 3], at);
            w[k] = fmin(1, fmax(0, vec_dot(n, vec_cross(from, to)) / whole));
        }
        w[0] = fmax(0, 1 - w[1] - w[2]);
    }
    for (int k = 0; k < 3; k++) {
        mix->from[k] = v[k];
        mix->weight[k] = (float)w[k];
    }
}

static struct mix mix_of(const struct joint *j, uint32_t ref)
{
    uint32_t made = joint_made_base(j);
    struct mix mix = {{ref, ref, ref}, {1, 0, 0}};
    while (ref >= made + j->node.count)
        ref = PILE(j->copy, struct made_copy)[ref - made - j->node.count].of;
    if (ref < made)
        mix.from[0] = mix.from[1] = mix.from[2] = ref;
    else
        mix_between(j, joint_node(j, ref - made), &mix);
    return mix;
}

static enum status number_vertices(struct assembly *a)
{
    struct joint *j = a->j;
    uint32_t made = joint_made_base(j), refs = made + (uint32_t)j->place.count;
    for (uint32_t r = 0; r < refs && going(a, r); r++)
        if (a->number[r] == PRESENT)
            a->number[r] = (uint32_t)(r < made ? a->plain++ : a->plain + a->mixes++);
    size_t triangles = a->whole[0] + a->whole[1] + j->made.count;
    if (!triangles)
        return job_fail(j->job, STATUS_REFUSED, "nothing would be left: %s",
                        j->kind == BOOLEAN_COMMON ? "the two have no room in common"
                                                  : "the second covers all of the first");
    a->mesh = mesh_new(a->plain + a->mixes, triangles);
    a->vertex = scratch_new(a->plain, sizeof *a->vertex);
    a->mix = scratch_new(a->mixes, sizeof *a->mix);
    a->triangle = scratch_new(triangles, sizeof *a->triangle);
    if (!a->mesh || !a->vertex || !a->mix || !a->triangle)
        return job_fail_memory(j->job, triangles * 24);
    for (uint32_t r = 0; r < refs && going(a, r); r++) {
        uint32_t n = a->number[r];
        if (n == ABSENT)
            continue;
        mesh_point_edit(a->mesh)[n] = joint_point(j, r);
        if (r < made)
            a->vertex[n] = r;
        else
            a->mix[n - a->plain] = mix_of(j, r);
    }
    return STATUS_OK;
}

static void copy_triangles(struct assembly *a)
{
    const struct joint *j = a->j;
    struct triangle *to = mesh_triangle_edit(a->mesh);
    uint32_t *from = a->triangle, faces = (uint32_t)mesh_triangles(j->side[0].mesh);
    for (int s = 0; s < 2; s++) {
        const struct solid *own = &j->side[s];
        bool turns = joint_turns(j, s);
        for (uint32_t t = 0; t < mesh_triangles(own->mesh) && going(a, t); t++) {
            if (!joint_keeps(j, s, t))
                continue;
            *from++ = s ? faces + t : t;
            for (int k = 0; k < 3; k++)
                to->v[turns && k ? 3 - k : k] = a->number[joint_ref(j, s, own->triangle[t].v[k])];
            to++;
        }
    }
    for (size_t i = 0; i < j->made.count; i++, to++) {
        const struct made_triangle *made = &PILE(j->made, struct made_triangle)[i];
        *from++ = made->side ? faces + made->face : made->face;
        for (int k = 0; k < 3; k++)
            to->v[k] = a->number[made->v[k]];
    }
}

/* Both meshes as one, for the lineage; the second's triangles count as made. */
static struct mesh *ancestors(const struct joint *j)
{
    struct mesh *tool = mesh_new_like(j->side[1].mesh), *both = NULL;
    if (!tool)
        job_fail_memory(j->job, sizeof *tool);
    if (tool && !tool->attribute[ATTRIBUTE_origin]) {
        uint8_t *origin = mesh_attribute_new(tool, ATTRIBUTE_origin);
        if (origin)
            memset(origin, ORIGIN_MADE, mesh_triangles(tool));
        else
            job_fail_memory(j->job, mesh_triangles(tool));
    }
    if (tool && tool->attribute[ATTRIBUTE_origin]) {
        const struct mesh *const meshes[2] = {j->side[0].mesh, tool};
        both = mesh_join(meshes, 2, j->job);
    }
    mesh_free(tool);
    return both;
}

static enum status assemble(struct joint *j, struct mesh **out)
{
    size_t refs = joint_made_base(j) + j->place.count;
    job_phase(j->job, "putting it together", 300, 0);
    struct assembly a = {.j = j, .number = scratch_new(refs, sizeof *a.number)};
    enum status status = STATUS_OK;
    struct mesh *old = NULL;
    if (a.number) {
        memset(a.number, 255, refs * sizeof *a.number);
        mark(&a);
        status = job_cancelled(j->job) ? job_fail_cancelled(j->job) : number_vertices(&a);
    } else {
        status = job_fail_memory(j->job, refs * sizeof *a.number);
    }
    if (status == STATUS_OK && job_cancelled(j->job))
        status = job_fail_cancelled(j->job);
    if (status == STATUS_OK) {
        copy_triangles(&a);
        old = job_cancelled(j->job) ? NULL : ancestors(j);
        status = job_cancelled(j->job) ? job_fail_cancelled(j->job)
                 : old                 ? STATUS_OK
                                       : job_status(j->job);
    }
    if (status == STATUS_OK) {
        struct lineage lineage = {.plain_vertices = a.plain,
                                  .vertex = a.vertex,
                                  .mix = a.mix,
                                  .plain_triangles = mesh_triangles(a.mesh),
                                  .triangle = a.triangle};
        a.mesh->joined = true;
        status = lineage_carry(&lineage, old, a.mesh, j->job);
    }
    for (int s = 0; s < 2; s++) {
        j->report.crossed[s] = j->side[s].touched.count;
        j->report.kept[s] = a.whole[s];
    }
    j->report.made = j->made.count;
    mesh_free(old);
    scratch_free(a.number);
    scratch_free(a.vertex);
    scratch_free(a.triangle);
    scratch_free(a.mix);
    if (status == STATUS_OK)
        *out = a.mesh;
    else
        mesh_free(a.mesh);
    return status;
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
    return status == STATUS_OK ? assemble(j, out) : status;
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
