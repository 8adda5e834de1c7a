/* The deepest point of a solid, by branch and bound: depth changes no faster than one walks. */
#include "core/topology.h"
#include "solid/offset_parts.h"

enum { AT_ONCE = 64, BOXES_MOST = 1 << 11 };

static const double root3 = 1.7321, share = 2e-3; /* of the depth: near enough */

struct box { /* a cube by its middle */
    struct vec at;
    double depth; /* there */
    uint32_t near;
};

struct dive {
    struct field field;
    struct array *now, *next; /* struct box; room for more than count */
    size_t count;
    double half; /* a side of those of `next`, halved */
    struct box best;
    struct job *job;
};

static struct box *box(const struct array *list, size_t i)
{
    return (struct box *)list->data + i;
}

static void look_into(const struct dive *d, size_t i, struct box child[8])
{
    for (int k = 0; k < 8; k++) {
        child[k] = *box(d->now, i);
        struct vec way =
            vec(k & 1 ? d->half : -d->half, k & 2 ? d->half : -d->half, k & 4 ? d->half : -d->half);
        child[k].at = vec_add(child[k].at, way);
        struct field_at f = field_find(&d->field, child[k].at, child[k].near);
        child[k].depth = f.value;
        child[k].near = f.triangle;
    }
}

/* A plate is as deep all over: there any of the many will do. */
static size_t thin(struct array *list, size_t count)
{
    size_t step = count / BOXES_MOST + 1, kept = 0;
    for (size_t i = 0; i < count; i += step)
        *box(list, kept++) = *box(list, i);
    return kept;
}

static enum status descend(struct dive *d)
{
    struct box child[AT_ONCE][8];
    size_t found = 0;
    for (size_t from = 0; from < d->count; from += AT_ONCE) {
        size_t n = d->count - from < AT_ONCE ? d->count - from : AT_ONCE;
#pragma omp parallel for num_threads(job_threads(d->job)) schedule(dynamic, 4)
        for (size_t i = 0; i < n; i++)
            if (!job_cancelled(d->job))
                look_into(d, from + i, child[i]);
        if (job_cancelled(d->job))
            return job_fail_cancelled(d->job);
        if (found + 8 * n > d->next->count && !array_grow(d->next, 2 * (found + 8 * n)))
            return job_fail_memory(d->job, 16 * (found + 8 * n) * sizeof(struct box));
        for (size_t i = 0; i < 8 * n; i++)
            if (child[i / 8][i % 8].depth > d->best.depth)
                d->best = child[i / 8][i % 8];
        for (size_t i = 0; i < 8 * n; i++)
            if (child[i / 8][i % 8].depth + root3 * d->half > fmax(d->best.depth * (1 + share), 0))
                *box(d->next, found++) = child[i / 8][i % 8];
    }
    struct array *swap = d->now;
    d->now = d->next;
    d->next = swap;
    d->count = thin(d->now, found);
    return STATUS_OK;
}

static enum status dive(struct dive *d, const struct bounds *bounds, const struct mesh *mesh)
{
    double half = fmax(bounds->size.x, fmax(bounds->size.y, bounds->size.z)) / 2;
    enum status status = STATUS_OK;
    d->best = (struct box){mesh_local(mesh, bounds->centre), 0, NO_INDEX};
    *box(d->now, 0) = d->best;
    d->count = 1;
    for (d->half = half / 2; d->count && d->half > 1e-7 * half && status == STATUS_OK; d->half /= 2)
        status = descend(d);
    return status;
}

enum status offset_deepest(const struct mesh *mesh, double *depth, struct vec *at, struct job *job)
{
    const struct bounds *bounds = mesh_bounds(mesh, job);
    struct dive d = {.field = {bounds ? mesh_tree(mesh, job) : NULL, 0, -1}, .job = job};
    if (!d.field.tree)
        return job_status(job);
    d.now = array_new(8 * AT_ONCE, sizeof(struct box));
    d.next = array_new(8 * AT_ONCE, sizeof(struct box));
    enum status status =
        d.now && d.next ? dive(&d, bounds, mesh) : job_fail_memory(job, 16 * AT_ONCE * 40);
    *depth = d.best.depth;
    *at = mesh_world(mesh, d.best.at);
    array_free(d.now);
    array_free(d.next);
    return status;
}
