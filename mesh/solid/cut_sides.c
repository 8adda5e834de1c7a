/* Which side of the plane everything is on. */
#include <string.h>

#include "solid/cut_parts.h"

static int8_t side(const struct cutting *c, struct point p)
{
    /* In this distance lies the rounding of the product and of any point the plane would cut
     * there; beyond it the double's sign is certain. */
    float most = fmaxf(fabsf(p.x), fmaxf(fabsf(p.y), fabsf(p.z)));
    double distance = vec_dot(c->normal, point_vec(p)) - c->offset, slack = 0x1p-23 * (double)most;
    return (int8_t)((distance > slack) - (distance < -slack));
}

static void sign_vertices(struct cutting *c)
{
    const struct point *point = mesh_point(c->mesh);
    size_t vertices = mesh_vertices(c->mesh);
#pragma omp parallel for num_threads(cut_threads(c)) schedule(static, CUT_BLOCK)
    for (size_t v = 0; v < vertices; v++)
        c->sign[v] = side(c, point[v]);
}

enum fate { DROPPED, WHOLE, TOUCHED };

static enum fate fate(const struct cutting *c, const struct triangle *t)
{
    int a = c->sign[t->v[0]], b = c->sign[t->v[1]], d = c->sign[t->v[2]];
    if (a > 0 && b > 0 && d > 0)
        return WHOLE;
    return a > 0 || b > 0 || d > 0 || (a == 0 && b == 0 && d == 0) ? TOUCHED : DROPPED;
}

/* One pass counts (list NULL), a second lists the touched ones from list[block] on. */
static void sort_block(struct cutting *c, size_t block, size_t *touched, uint32_t *list)
{
    const struct triangle *triangle = mesh_triangle(c->mesh);
    size_t from = block * CUT_BLOCK, end = from + CUT_BLOCK, whole = 0, count = 0;
    end = end < mesh_triangles(c->mesh) ? end : mesh_triangles(c->mesh);
    for (size_t t = from; t < end; t++) {
        enum fate f = fate(c, &triangle[t]);
        whole += f == WHOLE;
        if (f == TOUCHED && list)
            list[*touched + count] = (uint32_t)t;
        count += f == TOUCHED;
    }
    c->block[block] = whole;
    if (!list)
        *touched = count;
}

static enum status sort_triangles(struct cutting *c)
{
    size_t blocks = (mesh_triangles(c->mesh) + CUT_BLOCK - 1) / CUT_BLOCK;
    size_t *touched = scratch_new(blocks, sizeof *touched);
    c->block = scratch_new(blocks, sizeof *c->block);
    if (!touched || !c->block) {
        scratch_free(touched);
        return job_fail_memory(c->job, 2 * blocks * sizeof *touched);
    }
#pragma omp parallel for num_threads(cut_threads(c)) schedule(dynamic)
    for (size_t b = 0; b < blocks; b++)
        if (job_step(c->job, CUT_BLOCK))
            sort_block(c, b, &touched[b], NULL);
    enum status status = job_cancelled(c->job) ? job_fail_cancelled(c->job) : STATUS_OK;
    for (size_t b = 0; b < blocks && status == STATUS_OK; b++) {
        size_t count = touched[b];
        touched[b] = c->touched_count;
        c->touched_count += count;
        c->whole += c->block[b];
    }
    c->touched = scratch_new(c->touched_count, sizeof *c->touched);
    if (!c->touched && status == STATUS_OK)
        status = job_fail_memory(c->job, c->touched_count * sizeof *c->touched);
#pragma omp parallel for num_threads(cut_threads(c)) schedule(dynamic)
    for (size_t b = 0; b < (status == STATUS_OK ? blocks : 0); b++)
        if (b + 1 < blocks ? touched[b + 1] > touched[b] : c->touched_count > touched[b])
            sort_block(c, b, &touched[b], c->touched);
    scratch_free(touched);
    return status;
}

enum status cut_sides(struct cutting *c)
{
    c->sign = scratch_new(mesh_vertices(c->mesh), sizeof *c->sign);
    if (!c->sign)
        return job_fail_memory(c->job, mesh_vertices(c->mesh));
    sign_vertices(c);
    enum status status = sort_triangles(c);
    c->report.removed = mesh_triangles(c->mesh) - c->whole - c->touched_count;
    return status;
}
