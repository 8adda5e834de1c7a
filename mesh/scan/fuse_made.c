#include "scan/fuse_made.h"

#include <math.h>

#include "core/array.h"
#include "core/job.h"
#include "core/tree.h"

enum { BLOCK = 1024 };

static const double reach = 4; /* in units of `near`: the fused surface lies nearer than that */

struct making {
    struct mesh *mesh;
    const struct mesh *const *piece;
    const struct tree **tree; /* one a piece; NULL: it is empty */
    size_t pieces;
    double near;
};

static bool has_made(const struct mesh *mesh)
{
    const uint8_t *origin = mesh_attribute(mesh, ATTRIBUTE_origin);
    for (size_t t = 0; origin && t < mesh_triangles(mesh); t++)
        if (origin[t] == ORIGIN_MADE)
            return true;
    return false;
}

static enum surface_origin origin_of(const struct mesh *mesh, uint32_t t)
{
    const uint8_t *origin = mesh_triangles(mesh) ? mesh_attribute(mesh, ATTRIBUTE_origin) : NULL;
    return origin ? (enum surface_origin)origin[t] : ORIGIN_MEASURED;
}

static struct vec middle_of(const struct mesh *mesh, size_t t)
{
    const uint32_t *v = mesh_triangle(mesh)[t].v;
    struct vec sum = vec(0, 0, 0);
    for (int k = 0; k < 3; k++)
        sum = vec_along(sum, 1.0 / 3, point_vec(mesh_point(mesh)[v[k]]));
    return mesh_world(mesh, sum);
}

/* Whether a made triangle is what lies nearest in some piece, and measured is nothing near. */
static bool is_made(const struct making *m, size_t t)
{
    struct vec at = middle_of(m->mesh, t);
    bool made = false;
    for (size_t i = 0; i < m->pieces; i++) {
        struct nearest n = {.triangle = NO_INDEX};
        if (m->tree[i])
            n = tree_nearest(m->tree[i], mesh_local(m->piece[i], at), reach * m->near);
        if (n.triangle == NO_INDEX)
            continue;
        enum surface_origin origin = origin_of(m->piece[i], n.triangle);
        if (origin == ORIGIN_MEASURED && n.distance <= m->near)
            return false;
        made = made || origin == ORIGIN_MADE;
    }
    return made;
}

static void mark(const struct making *m, struct job *job)
{
    uint8_t *origin = m->mesh->attribute[ATTRIBUTE_origin]->data;
    size_t n = mesh_triangles(m->mesh);
#pragma omp parallel for num_threads(job_threads(job)) schedule(dynamic)
    for (size_t b = 0; b < n; b += BLOCK)
        for (size_t t = b; t < n && t < b + BLOCK && !job_cancelled(job); t++)
            if (origin[t] == ORIGIN_MEASURED && is_made(m, t))
                origin[t] = ORIGIN_MADE;
}

enum status made_find(struct mesh *mesh, const struct mesh *const *piece, size_t pieces,
                      double near, struct job *job)
{
    struct making m = {mesh, piece, scratch_zeros(pieces + 1, sizeof *m.tree), pieces, near};
    bool any = false;
    enum status status = m.tree ? STATUS_OK : job_fail_memory(job, pieces * sizeof *m.tree);
    for (size_t i = 0; i < pieces && !any; i++)
        any = has_made(piece[i]);
    for (size_t i = 0; i < pieces && any && status == STATUS_OK; i++) {
        if (mesh_vertices(piece[i]) == 0)
            continue;
        m.tree[i] = mesh_tree(piece[i], job);
        status = m.tree[i] ? STATUS_OK : job_status(job);
    }
    if (status == STATUS_OK && any)
        mark(&m, job);
    scratch_free((void *)m.tree);
    return status == STATUS_OK && job_cancelled(job) ? job_fail_cancelled(job) : status;
}
