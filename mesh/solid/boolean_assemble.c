/* The result of a boolean put together: what is kept of either mesh, then what was made. */
#include "solid/boolean_parts.h"

#include "core/blocks.h"

enum { BLOCK = 65536 };

struct assembly {
    struct joint *j;
    uint32_t
        *number; /* one a ref: 1 when the result has it, then the number after its own; else 0 */
    size_t refs, plain, vertices;
    size_t *before;     /* one a block of refs: how many of the result come before it */
    size_t *faces[2];   /* one a block of that side's faces: how many kept ones come before it */
    size_t whole[2];    /* kept faces */
    uint32_t *vertex;   /* of the lineage */
    uint32_t *triangle; /* likewise */
    struct mix *mix;
    struct mesh *mesh;
};

/* --- which there are -------------------------------------------------------------------------- */

/* Two threads may mark the same vertex. */
static void mark(const struct assembly *a, uint32_t ref)
{
#pragma omp atomic write
    a->number[ref] = 1;
}

static size_t mark_block(const struct assembly *a, int s, size_t block)
{
    const struct joint *j = a->j;
    const struct solid *own = &j->side[s];
    size_t kept = 0, end = block_end(block, BLOCK, mesh_triangles(own->mesh));
    for (size_t t = block * BLOCK; t < end; t++) {
        if (!joint_keeps(j, s, (uint32_t)t))
            continue;
        kept++;
        for (int k = 0; k < 3; k++)
            mark(a, joint_ref(j, s, own->triangle[t].v[k]));
    }
    return kept;
}

static void mark_all(struct assembly *a)
{
    struct joint *j = a->j;
    int threads = job_threads(j->job);
    for (int s = 0; s < 2; s++) {
        size_t blocks = blocks_of(mesh_triangles(j->side[s].mesh), BLOCK);
#pragma omp parallel for num_threads(threads) if (blocks > 1) schedule(static)
        for (size_t b = 0; b < blocks; b++)
            a->faces[s][b] = job_cancelled(j->job) ? 0 : mark_block(a, s, b);
        a->whole[s] = blocks_line_up(a->faces[s], blocks);
    }
    for (size_t i = 0; i < 3 * j->made.count; i++)
        mark(a, PILE(j->made, struct made_triangle)[i / 3].v[i % 3]);
}

/* --- vertices --------------------------------------------------------------------------------- */

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

static void number_block(struct assembly *a, size_t block)
{
    const struct joint *j = a->j;
    uint32_t made = joint_made_base(j), n = (uint32_t)a->before[block];
    uint32_t end = (uint32_t)block_end(block, BLOCK, a->refs);
    for (uint32_t r = (uint32_t)(block * BLOCK); r < end; r++) {
        if (!a->number[r])
            continue;
        mesh_point_edit(a->mesh)[n] = joint_point(j, r);
        if (r < made)
            a->vertex[n] = r;
        else
            a->mix[n - a->plain] = mix_of(j, r);
        a->number[r] = ++n;
    }
}

/* Vertices of the meshes come before those that were made. */
static void count_vertices(struct assembly *a)
{
    size_t blocks = blocks_of(a->refs, BLOCK), made = joint_made_base(a->j), plain = 0;
    int threads = job_threads(a->j->job);
#pragma omp parallel for num_threads(threads) if (blocks > 1) schedule(static) reduction(+ : plain)
    for (size_t b = 0; b < blocks; b++) {
        size_t all = 0;
        for (size_t r = b * BLOCK; r < block_end(b, BLOCK, a->refs); r++) {
            all += a->number[r];
            plain += r < made ? a->number[r] : 0;
        }
        a->before[b] = all;
    }
    a->plain = plain;
    a->vertices = blocks_line_up(a->before, blocks);
}

static enum status make_room(struct assembly *a)
{
    struct joint *j = a->j;
    size_t triangles = a->whole[0] + a->whole[1] + j->made.count;
    if (!triangles)
        return job_fail(j->job, STATUS_REFUSED, "nothing would be left: %s",
                        j->kind == BOOLEAN_COMMON ? "the two have no room in common"
                                                  : "the second covers all of the first");
    a->mesh = mesh_new(a->vertices, triangles);
    a->vertex = scratch_new(a->plain, sizeof *a->vertex);
    a->mix = scratch_new(a->vertices - a->plain, sizeof *a->mix);
    a->triangle = scratch_new(triangles, sizeof *a->triangle);
    if (!a->mesh || !a->vertex || !a->mix || !a->triangle)
        return job_fail_memory(j->job, triangles * 24);
    return STATUS_OK;
}

/* --- triangles -------------------------------------------------------------------------------- */

static void copy_block(struct assembly *a, int s, size_t block)
{
    const struct joint *j = a->j;
    const struct solid *own = &j->side[s];
    bool turns = joint_turns(j, s);
    uint32_t base = s ? (uint32_t)mesh_triangles(j->side[0].mesh) : 0;
    size_t n = a->faces[s][block] + (s ? a->whole[0] : 0);
    size_t end = block_end(block, BLOCK, mesh_triangles(own->mesh));
    for (uint32_t t = (uint32_t)(block * BLOCK); t < end; t++) {
        if (!joint_keeps(j, s, t))
            continue;
        struct triangle *to = mesh_triangle_edit(a->mesh) + n;
        a->triangle[n++] = base + t;
        for (int k = 0; k < 3; k++)
            to->v[turns && k ? 3 - k : k] = a->number[joint_ref(j, s, own->triangle[t].v[k])] - 1;
    }
}

static void copy_made(struct assembly *a)
{
    const struct joint *j = a->j;
    size_t first = a->whole[0] + a->whole[1];
    uint32_t base = (uint32_t)mesh_triangles(j->side[0].mesh);
    for (size_t i = 0; i < j->made.count; i++) {
        const struct made_triangle *made = &PILE(j->made, struct made_triangle)[i];
        a->triangle[first + i] = made->side ? base + made->face : made->face;
        for (int k = 0; k < 3; k++)
            mesh_triangle_edit(a->mesh)[first + i].v[k] = a->number[made->v[k]] - 1;
    }
}

static void fill(struct assembly *a)
{
    struct job *job = a->j->job;
    int threads = job_threads(job);
    size_t blocks = blocks_of(a->refs, BLOCK);
#pragma omp parallel for num_threads(threads) if (blocks > 1) schedule(static)
    for (size_t b = 0; b < blocks; b++)
        if (!job_cancelled(job))
            number_block(a, b);
    for (int s = 0; s < 2; s++) {
        blocks = blocks_of(mesh_triangles(a->j->side[s].mesh), BLOCK);
#pragma omp parallel for num_threads(threads) if (blocks > 1) schedule(static)
        for (size_t b = 0; b < blocks; b++)
            if (!job_cancelled(job))
                copy_block(a, s, b);
    }
    if (!job_cancelled(job))
        copy_made(a);
}

/* --- attributes ------------------------------------------------------------------------------- */

/* The second mesh for the lineage: its triangles count as made. NULL when there is no memory. */
static struct mesh *tool_of(const struct joint *j)
{
    struct mesh *tool = mesh_new_like(j->side[1].mesh);
    if (!tool || tool->attribute[ATTRIBUTE_origin])
        return tool;
    uint8_t *origin = mesh_attribute_new(tool, ATTRIBUTE_origin);
    if (origin) {
        memset(origin, ORIGIN_MADE, mesh_triangles(tool));
        return tool;
    }
    mesh_free(tool);
    return NULL;
}

static enum status carry(struct assembly *a)
{
    struct joint *j = a->j;
    struct mesh *tool = tool_of(j);
    if (!tool)
        return job_fail_memory(j->job, mesh_triangles(j->side[1].mesh));
    const struct lineage lineage = {.second = tool,
                                    .plain_vertices = a->plain,
                                    .vertex = a->vertex,
                                    .mix = a->mix,
                                    .plain_triangles = mesh_triangles(a->mesh),
                                    .triangle = a->triangle};
    a->mesh->joined = true;
    enum status status = lineage_carry(&lineage, j->side[0].mesh, a->mesh, j->job);
    mesh_free(tool);
    return status;
}

/* --- all of it -------------------------------------------------------------------------------- */

static enum status assemble(struct assembly *a)
{
    struct joint *j = a->j;
    a->number = scratch_zeros(a->refs, sizeof *a->number);
    a->before = scratch_new(blocks_of(a->refs, BLOCK), sizeof *a->before);
    for (int s = 0; s < 2; s++)
        a->faces[s] =
            scratch_new(blocks_of(mesh_triangles(j->side[s].mesh), BLOCK), sizeof *a->faces[s]);
    if (!a->number || !a->before || !a->faces[0] || !a->faces[1])
        return job_fail_memory(j->job, a->refs * sizeof *a->number);
    mark_all(a);
    if (job_cancelled(j->job))
        return job_fail_cancelled(j->job);
    count_vertices(a);
    enum status status = make_room(a);
    if (status != STATUS_OK)
        return status;
    fill(a);
    return job_cancelled(j->job) ? job_fail_cancelled(j->job) : carry(a);
}

enum status joint_assemble(struct joint *j, struct mesh **out)
{
    struct assembly a = {.j = j, .refs = joint_made_base(j) + j->place.count};
    job_phase(j->job, "putting it together", 300, 0);
    enum status status = assemble(&a);
    for (int s = 0; s < 2; s++) {
        j->report.crossed[s] = j->side[s].touched.count;
        j->report.kept[s] = a.whole[s];
        scratch_free(a.faces[s]);
    }
    j->report.made = j->made.count;
    scratch_free(a.number);
    scratch_free(a.before);
    scratch_free(a.vertex);
    scratch_free(a.triangle);
    scratch_free(a.mix);
    if (status == STATUS_OK)
        *out = a.mesh;
    else
        mesh_free(a.mesh);
    return status;
}
