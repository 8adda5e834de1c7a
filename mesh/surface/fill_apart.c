#include "surface/fill_apart.h"

#include <stdlib.h>
#include <string.h>

#include "core/job.h"

enum {
    BLOCK = 65536, /* points between two looks at cancel */
    TRIES_MOST = 16
};

struct parting {
    struct point *point;
    size_t first, count; /* points before, and in all */
    uint32_t *slot;      /* open addressing: new points by position, one of each position */
    size_t slots;
    uint8_t *meets; /* one a new point: it is to be moved */
};

static uint32_t bits(float x)
{
    uint32_t value;
    x += 0.0f; /* -0 is 0 */
    memcpy(&value, &x, sizeof value);
    return value;
}

static bool equal(struct point a, struct point b)
{
    return a.x == b.x && a.y == b.y && a.z == b.z;
}

/* The slot of the new point that has this position, or the free one where it would be. */
static size_t find(const struct parting *p, struct point at)
{
    uint64_t key = bits(at.x) * UINT64_C(0x9E3779B97F4A7C15);
    key = (key ^ bits(at.y)) * UINT64_C(0xBF58476D1CE4E5B9);
    key = (key ^ bits(at.z)) * UINT64_C(0x94D049BB133111EB);
    size_t i = (size_t)(key >> 32) & (p->slots - 1);
    while (p->slot[i] != NO_INDEX && !equal(p->point[p->slot[i]], at))
        i = (i + 1) & (p->slots - 1);
    return i;
}

/* Enters all new points; marks those that meet an earlier one. */
static void enter(struct parting *p)
{
    memset(p->slot, 255, p->slots * sizeof *p->slot);
    for (size_t i = p->first; i < p->count; i++) {
        size_t at = find(p, p->point[i]);
        p->meets[i - p->first] = p->slot[at] != NO_INDEX;
        if (p->slot[at] == NO_INDEX)
            p->slot[at] = (uint32_t)i;
    }
}

/* Marks the new points that meet an old one. */
static void look_up(struct parting *p, struct job *job)
{
#pragma omp parallel for num_threads(job_threads(job)) schedule(dynamic)
    for (size_t begin = 0; begin < p->first; begin += BLOCK) {
        size_t end = begin + BLOCK < p->first ? begin + BLOCK : p->first;
        for (size_t i = begin; i < end && !job_cancelled(job); i++) {
            size_t at = find(p, p->point[i]);
            if (p->slot[at] != NO_INDEX)
#pragma omp atomic write
                p->meets[p->slot[at] - p->first] = 1;
        }
    }
}

/* Moves the marked points; how many there were. */
static size_t step_aside(struct parting *p)
{
    size_t moved = 0;
    for (size_t i = 0; i < p->count - p->first; i++) {
        if (!p->meets[i])
            continue;
        struct point *a = p->point + p->first + i;
        float *along[3] = {&a->x, &a->y, &a->z};
        float *x = along[moved++ % 3]; /* one beside the other must not go the same way */
        *x = nextafterf(*x, *x > 0 ? -INFINITY : INFINITY);
    }
    return moved;
}

static bool part(struct parting *p, struct job *job)
{
    for (int tries = 0; tries < TRIES_MOST && !job_cancelled(job); tries++) {
        enter(p);
        look_up(p, job);
        if (step_aside(p) == 0)
            return true;
    }
    return false;
}

enum status points_part(struct mesh *mesh, size_t first, bool *apart, struct job *job)
{
    struct parting p = {.point = mesh_point_edit(mesh), .first = first};
    p.count = mesh_vertices(mesh);
    *apart = true;
    if (p.count == first)
        return STATUS_OK;
    p.slots = 64;
    while (p.slots < 2 * (p.count - first))
        p.slots *= 2;
    p.slot = malloc(p.slots * sizeof *p.slot);
    p.meets = calloc(p.count - first, 1);
    enum status status = STATUS_OK;
    if (p.slot && p.meets)
        *apart = part(&p, job);
    else
        status = job_fail_memory(job, p.slots * sizeof *p.slot);
    free(p.slot);
    free(p.meets);
    if (status == STATUS_OK && job_cancelled(job))
        status = job_fail_cancelled(job);
    return status;
}
