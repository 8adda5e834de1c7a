/* The plane's vertices and triangles put together as a new mesh. */
#include "solid/cut.h"

#include <string.h>

#include "core/blocks.h"
#include "solid/cut_parts.h"

/* --- numbering ----------------------------------------------------------------------------- */

struct assembly {
    struct cutting *c;
    uint32_t *number;   /* one a vertex of the mesh: its new number; NO_INDEX: gone */
    uint32_t *vertex;   /* of the lineage; NULL when there is nothing to carry */
    uint32_t *triangle; /* likewise */
    struct mix *mix;
    size_t *block; /* where the kept vertices of each block go */
    size_t plain;  /* vertices kept */
};

/* Those in the plane stay only when something kept uses them (a point cloud's stay). */
static void mark_used(struct cutting *c)
{
    enum { USED = 2 };
    for (size_t i = 0; i < 3 * c->pieces; i++) {
        uint32_t v = c->piece[i / 3].v[i % 3];
        if (v < mesh_vertices(c->mesh) && c->sign[v] == 0)
            c->sign[v] = USED;
    }
    for (size_t i = 0; i < 3 * c->caps; i++) {
        uint32_t v = c->cap[i / 3].v[i % 3];
        if (v < mesh_vertices(c->mesh) && c->sign[v] == 0)
            c->sign[v] = USED;
    }
}

static bool stays(const struct cutting *c, size_t v)
{
    return mesh_triangles(c->mesh) ? c->sign[v] > 0 : c->sign[v] >= 0;
}

static void count_vertices(struct assembly *a)
{
    const struct cutting *c = a->c;
    size_t vertices = mesh_vertices(c->mesh), blocks = blocks_of(vertices, CUT_BLOCK);
#pragma omp parallel for num_threads(cut_threads(c)) schedule(static)
    for (size_t b = 0; b < blocks; b++) {
        size_t count = 0, end = block_end(b, CUT_BLOCK, vertices);
        for (size_t v = b * CUT_BLOCK; v < end; v++)
            count += stays(c, v);
        a->block[b] = count;
    }
    a->plain = blocks_line_up(a->block, blocks);
}

/* --- copying ------------------------------------------------------------------------------- */

static void copy_vertices(struct assembly *a, struct mesh *mesh)
{
    const struct cutting *c = a->c;
    size_t vertices = mesh_vertices(c->mesh), blocks = blocks_of(vertices, CUT_BLOCK);
    struct point *to = mesh_point_edit(mesh);
#pragma omp parallel for num_threads(cut_threads(c)) schedule(static)
    for (size_t b = 0; b < blocks; b++) {
        size_t next = a->block[b], end = block_end(b, CUT_BLOCK, vertices);
        for (size_t v = b * CUT_BLOCK; v < end; v++) {
            if (!stays(c, v)) {
                a->number[v] = NO_INDEX;
                continue;
            }
            to[next] = mesh_point(c->mesh)[v];
            if (a->vertex)
                a->vertex[next] = (uint32_t)v;
            a->number[v] = (uint32_t)next++;
        }
    }
    for (size_t i = 0; i < c->mades; i++) {
        to[a->plain + i] = c->made[i].at;
        a->mix[i] = c->made[i].mix;
    }
}

static uint32_t renumbered(const struct assembly *a, uint32_t v)
{
    size_t old = mesh_vertices(a->c->mesh);
    return v < old ? a->number[v] : (uint32_t)(a->plain + (v - old));
}

static void copy_block(const struct assembly *a, struct triangle *to, size_t block)
{
    const struct cutting *c = a->c;
    size_t end = block_end(block, CUT_BLOCK, mesh_triangles(c->mesh)), next = c->block[block];
    for (size_t t = block * CUT_BLOCK; t < end; t++) {
        const uint32_t *v = mesh_triangle(c->mesh)[t].v;
        /* In the plane is 0, or USED above 1: whole triangles have 1 only. */
        if (c->sign[v[0]] != 1 || c->sign[v[1]] != 1 || c->sign[v[2]] != 1)
            continue;
        if (a->triangle)
            a->triangle[next] = (uint32_t)t;
        to[next++] = (struct triangle){{a->number[v[0]], a->number[v[1]], a->number[v[2]]}};
    }
}

static void copy_triangles(struct assembly *a, struct mesh *mesh)
{
    const struct cutting *c = a->c;
    struct triangle *to = mesh_triangle_edit(mesh);
    size_t blocks = blocks_of(mesh_triangles(c->mesh), CUT_BLOCK);
    blocks_line_up(c->block, blocks);
#pragma omp parallel for num_threads(cut_threads(c)) schedule(dynamic)
    for (size_t b = 0; b < blocks; b++)
        if (job_step(c->job, CUT_BLOCK))
            copy_block(a, to, b);
    if (a->triangle && c->pieces)
        memcpy(a->triangle + c->whole, c->ancestor, c->pieces * sizeof *c->ancestor);
    to += c->whole;
    for (size_t i = 0; i < c->pieces + c->caps; i++, to++) {
        const struct triangle *from = i < c->pieces ? &c->piece[i] : &c->cap[i - c->pieces];
        for (int k = 0; k < 3; k++)
            to->v[k] = renumbered(a, from->v[k]);
    }
}

static bool has_attributes(const struct mesh *mesh)
{
    for (int i = 0; i < ATTRIBUTE_COUNT; i++)
        if (mesh->attribute[i])
            return true;
    return false;
}

static bool assembly_make(struct assembly *a, struct mesh **mesh)
{
    struct cutting *c = a->c;
    size_t vertices = mesh_vertices(c->mesh);
    a->number = scratch_new(vertices, sizeof *a->number);
    a->block = scratch_new(blocks_of(vertices, CUT_BLOCK), sizeof *a->block);
    a->mix = scratch_new(c->mades, sizeof *a->mix);
    if (!a->number || !a->block || !a->mix)
        return false;
    mark_used(c);
    count_vertices(a);
    if (has_attributes(c->mesh)) {
        a->vertex = scratch_new(a->plain, sizeof *a->vertex);
        a->triangle = scratch_new(c->whole + c->pieces, sizeof *a->triangle);
        if (!a->vertex || !a->triangle)
            return false;
    }
    *mesh = mesh_new(a->plain + c->mades, c->whole + c->pieces + c->caps);
    return *mesh != NULL;
}

static enum status assemble(struct cutting *c, struct mesh **out)
{
    struct assembly a = {.c = c};
    struct mesh *mesh = NULL;
    enum status status = STATUS_OK;
    if (assembly_make(&a, &mesh)) {
        copy_vertices(&a, mesh);
        copy_triangles(&a, mesh);
        struct lineage lineage = {.plain_vertices = a.plain,
                                  .vertex = a.vertex,
                                  .mix = a.mix,
                                  .plain_triangles = c->whole + c->pieces,
                                  .triangle = a.triangle,
                                  .origin = ORIGIN_MADE};
        mesh->joined = c->mesh->joined;
        status = job_cancelled(c->job) ? job_fail_cancelled(c->job)
                                       : lineage_carry(&lineage, c->mesh, mesh, c->job);
    } else {
        status = job_fail_memory(c->job, mesh_bytes(c->mesh));
    }
    scratch_free(a.number);
    scratch_free(a.vertex);
    scratch_free(a.triangle);
    scratch_free(a.mix);
    scratch_free(a.block);
    if (status == STATUS_OK)
        *out = mesh;
    else
        mesh_free(mesh);
    return status;
}

/* --- the cut ------------------------------------------------------------------------------- */

static void cutting_release(struct cutting *c)
{
    scratch_free(c->sign);
    scratch_free(c->block);
    scratch_free(c->touched);
    scratch_free(c->piece);
    scratch_free(c->ancestor);
    scratch_free(c->made);
    scratch_free(c->rim);
    scratch_free(c->cap);
}

static bool nothing_goes(const struct cutting *c)
{
    return c->report.removed == 0 && c->report.split == 0;
}

static bool nothing_stays(const struct cutting *c)
{
    if (mesh_triangles(c->mesh))
        return c->whole + c->pieces == 0;
    return c->report.removed == mesh_vertices(c->mesh);
}

static void count_points_removed(struct cutting *c)
{
    for (size_t v = 0; v < mesh_vertices(c->mesh); v++)
        c->report.removed += c->sign[v] < 0;
}

static enum status cut(struct cutting *c, bool cap, struct mesh **out)
{
    size_t triangles = mesh_triangles(c->mesh);
    job_phase(c->job, "finding what lies on which side", 200, triangles);
    enum status status = cut_sides(c);
    if (status == STATUS_OK && triangles == 0)
        count_points_removed(c);
    job_phase(c->job, "cutting triangles", 200, c->touched_count);
    if (status == STATUS_OK)
        status = cut_pieces(c);
    if (status != STATUS_OK)
        return status;
    if (nothing_stays(c))
        return job_fail(c->job, STATUS_REFUSED,
                        "nothing lies on the side that the normal points to; turn the normal round "
                        "or move the plane");
    if (nothing_goes(c)) {
        *out = mesh_share(c->mesh);
        return STATUS_OK;
    }
    job_phase(c->job, "closing the cut", 300, c->rims);
    if (cap)
        status = cut_cap(c);
    if (status == STATUS_OK)
        status = cut_settle(c);
    job_phase(c->job, "putting it together", 300, triangles);
    return status == STATUS_OK ? assemble(c, out) : status;
}

static bool finite_vec(struct vec a)
{
    return isfinite(a.x) && isfinite(a.y) && isfinite(a.z);
}

enum status cut_mesh(const struct mesh *mesh, const struct cut_plane *plane, bool cap,
                     struct mesh **out, struct cut_report *report, struct job *job)
{
    struct vec through = mesh_local(mesh, plane->through), normal = vec_unit(plane->normal);
    if (!finite_vec(through) || vec_length2(normal) == 0)
        return job_fail(job, STATUS_REFUSED,
                        "the plane needs a point and a normal that is not 0,0,0");
    struct cutting c = {
        .mesh = mesh, .normal = normal, .offset = vec_dot(normal, through), .job = job};
    enum status status = cut(&c, cap, out);
    if (status == STATUS_OK && report)
        *report = c.report;
    cutting_release(&c);
    return status;
}
