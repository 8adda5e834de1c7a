#include "surface/decimate_within.h"

#include <string.h>

#include "core/job.h"
#include "core/within.h"

static const double MARGIN = 0.998; /* the proof may say no from 0.999 of the tolerance on */

enum status tolerance_init(struct tolerance *t, const struct mesh *old, double within,
                           struct job *job)
{
    size_t n = mesh_vertices(old);
    *t = (struct tolerance){.old = {old, mesh_topology(old, job)}};
    if (!t->old.topology)
        return job_status(job);
    t->allowed = scratch_new(n, sizeof *t->allowed);
    t->next = scratch_new(n, sizeof *t->next);
    t->mark = scratch_new(n, sizeof *t->mark);
    t->tight = scratch_new(n, 1);
    if (!t->allowed || !t->next || !t->mark || !t->tight)
        return job_fail_memory(job, 13 * n);
    for (size_t v = 0; v < n; v++)
        t->allowed[v] = (float)(MARGIN * within);
    memset(t->mark, 0, n * sizeof *t->mark);
    return STATUS_OK;
}

void tolerance_release(struct tolerance *t)
{
    scratch_free(t->allowed);
    scratch_free(t->next);
    scratch_free(t->mark);
    scratch_free(t->tight);
}

void tolerance_rewind(struct tolerance *t)
{
    for (size_t v = 0; v < mesh_vertices(t->old.mesh); v++)
        t->next[v] = SAMPLE_UNLISTED;
}

/* The old vertices of an old triangle that is too far off. */
static void tighten_old(struct tolerance *t, uint32_t triangle)
{
    for (int k = 0; k < 3; k++)
        t->tight[mesh_triangle(t->old.mesh)[triangle].v[k]] = 1;
}

/* The samples on a new triangle that is, and the old vertices its corners were. */
static void tighten_made(struct tolerance *t, const struct surface *s, uint32_t triangle)
{
    for (uint32_t v = s->head ? s->head[triangle] : SAMPLE_NONE; v != SAMPLE_NONE; v = t->next[v])
        t->tight[v] = 1;
    for (int k = 0; k < 3; k++)
        t->tight[surface_vertex_of(s, surface_triangle(s)[triangle].v[k])] = 1;
}

/* Tightens at the marked vertices and their neighbours. */
static void tighten(struct tolerance *t, float part)
{
    const struct mesh *old = t->old.mesh;
    for (size_t i = 0; i < mesh_triangles(old); i++) {
        const uint32_t *v = mesh_triangle(old)[i].v;
        bool near = (t->tight[v[0]] | t->tight[v[1]] | t->tight[v[2]]) & 1;
        for (int k = 0; k < 3 && near; k++)
            t->tight[v[k]] |= 2;
    }
    for (size_t v = 0; v < mesh_vertices(old); v++)
        if (t->tight[v])
            t->allowed[v] *= part;
}

static enum status prove_with(struct tolerance *t, const struct surface *s, const struct mesh *made,
                              double within, uint8_t *mark, size_t *broken, struct job *job)
{
    size_t count;
    enum status status = within_mark(t->old.mesh, made, within, mark, &count, job);
    if (status != STATUS_OK)
        return status;
    *broken = count;
    for (uint32_t i = 0; i < mesh_triangles(t->old.mesh) && count; i++)
        if (mark[i])
            tighten_old(t, i);
    status = within_mark(made, t->old.mesh, within, mark, &count, job);
    if (status != STATUS_OK)
        return status;
    *broken += count;
    for (uint32_t i = 0; i < mesh_triangles(made) && count; i++)
        if (mark[i])
            tighten_made(t, s, i);
    return STATUS_OK;
}

enum status tolerance_prove(struct tolerance *t, const struct surface *s, const struct mesh *made,
                            double within, float part, size_t *broken, struct job *job)
{
    uint8_t *mark = scratch_new(mesh_triangles(t->old.mesh), 1);
    if (!mark)
        return job_fail_memory(job, mesh_triangles(t->old.mesh));
    memset(t->tight, 0, mesh_vertices(t->old.mesh));
    enum status status = prove_with(t, s, made, within, mark, broken, job);
    scratch_free(mark);
    if (status == STATUS_OK && *broken)
        tighten(t, part);
    return status;
}
