#include "core/turn_over.h"

#include <string.h>

#include "core/job.h"

enum { BLOCK = 65536 };

struct turning {
    const struct mesh *old;
    bool (*turns)(const void *context, size_t triangle);
    const void *context;
    struct job *job;
};

static bool is_turned(const struct turning *t, size_t triangle)
{
    return !t->turns || t->turns(t->context, triangle);
}

/* What stands at the corners of the triangles, `stride` bytes a corner. */
static enum status turn_corners(const struct turning *t, const char *from, char *to, size_t stride)
{
    const size_t order[2][3] = {{0, 1, 2}, {0, 2, 1}};
    for (size_t i = 0; i < mesh_triangles(t->old); i++) {
        if (i % BLOCK == 0 && job_cancelled(t->job))
            return job_fail_cancelled(t->job);
        const size_t *corner = order[is_turned(t, i)];
        for (size_t k = 0; k < 3; k++)
            memcpy(to + (3 * i + k) * stride, from + (3 * i + corner[k]) * stride, stride);
    }
    return STATUS_OK;
}

enum status mesh_turn_over(struct mesh *made, const struct mesh *old,
                           bool (*turns)(const void *context, size_t triangle), const void *context,
                           struct job *job)
{
    const struct turning t = {old, turns, context, job};
    struct array *triangle = array_new(mesh_triangles(old), sizeof(struct triangle));
    if (!triangle)
        return job_fail_memory(job, array_bytes(old->triangle));
    array_free(made->triangle);
    made->triangle = triangle;
    enum status status = turn_corners(&t, old->triangle->data, triangle->data, sizeof(uint32_t));
    for (enum attribute i = 0; i < ATTRIBUTE_COUNT && status == STATUS_OK; i++) {
        const struct attribute_row *row = attribute_row(i);
        if (!old->attribute[i] || row->domain != DOMAIN_CORNER)
            continue;
        char *to = mesh_attribute_new(made, i);
        status = to ? turn_corners(&t, mesh_attribute(old, i), to, row->stride)
                    : job_fail_memory(job, array_bytes(old->attribute[i]));
    }
    return status;
}
