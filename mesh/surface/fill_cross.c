#include "surface/fill_cross.h"

#include <stdlib.h>

#include "core/job.h"

enum { PAIRS_MOST = 1 << 22 };

size_t lid_of(const struct lids *lids, size_t triangle)
{
    size_t low = 0, high = lids->count;
    if (triangle < lids->start[0])
        return lids->count;
    while (low + 1 < high) {
        size_t middle = (low + high) / 2;
        if (lids->start[middle] <= triangle)
            low = middle;
        else
            high = middle;
    }
    return low;
}

/* Brings the triangles of open lids to the front of the list, else in order; returns how many. */
static size_t open_first(const struct lids *lids, const bool *open, uint32_t *list, size_t count,
                         uint32_t *spare)
{
    size_t front = 0, rest = 0, lid = 0;
    for (size_t i = 0; i < count; i++) {
        while (lid < lids->count && lids->start[lid + 1] <= list[i])
            lid++;
        if (list[i] >= lids->start[0] && open[lid])
            list[front++] = list[i];
        else
            spare[rest++] = list[i];
    }
    for (size_t i = 0; i < rest; i++)
        list[front + i] = spare[i];
    return front;
}

static struct mesh *mesh_of(const struct mesh *mesh, const uint32_t *list, size_t count)
{
    struct mesh *part = mesh_new(0, count);
    if (!part)
        return NULL;
    array_free(part->point);
    part->point = array_share(mesh->point);
    for (size_t i = 0; i < count; i++)
        mesh_triangle_edit(part)[i] = mesh_triangle(mesh)[list[i]];
    return part;
}

static enum status cross(const struct mesh *mesh, const uint32_t *list, size_t count, size_t front,
                         struct crossing **pairs, size_t *kept, struct job *job)
{
    uint64_t all;
    job_total(job, count);
    struct mesh *part = mesh_of(mesh, list, count);
    if (!part)
        return job_fail_memory(job, count * sizeof(struct triangle));
    enum status status = crossings_find(part, PAIRS_MOST, pairs, kept, &all, job);
    mesh_free(part);
    if (status != STATUS_OK)
        return status;
    while (*kept > 0 && (*pairs)[*kept - 1].a >= front) /* sorted: those of old triangles */
        --*kept;
    for (size_t i = 0; i < *kept; i++)
        (*pairs)[i] = (struct crossing){list[(*pairs)[i].a], list[(*pairs)[i].b]};
    return STATUS_OK;
}

enum status fill_crossings(const struct mesh *mesh, const struct lids *lids, const bool *open,
                           struct crossing **pairs, size_t *count, struct job *job)
{
    uint32_t *list = NULL;
    size_t listed = 0;
    *pairs = NULL;
    *count = 0;
    enum status status = fill_near(mesh, lids, &list, &listed, job);
    uint32_t *spare = status == STATUS_OK ? scratch_new(listed, sizeof *spare) : NULL;
    if (status == STATUS_OK && !spare)
        status = job_fail_memory(job, listed * sizeof *spare);
    size_t front = status == STATUS_OK ? open_first(lids, open, list, listed, spare) : 0;
    scratch_free(spare);
    if (front > 0)
        status = cross(mesh, list, listed, front, pairs, count, job);
    scratch_free(list);
    return status;
}
