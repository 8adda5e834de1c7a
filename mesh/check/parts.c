#include "check/parts.h"

#include <stdlib.h>

#include "core/job.h"
#include "core/topology.h"

enum { BLOCK = 65536 }; /* triangles between two looks at cancel */

#define BIT_SHARE 0.01

struct box {
    struct point min, max;
    uint32_t first; /* triangle */
};

static int largest_first(const void *x, const void *y)
{
    const struct part *a = x, *b = y;
    if (a->area != b->area)
        return a->area > b->area ? -1 : 1;
    return a->component < b->component ? -1 : a->component > b->component;
}

static void box_add(struct box *box, struct point p)
{
    box->min =
        (struct point){fminf(box->min.x, p.x), fminf(box->min.y, p.y), fminf(box->min.z, p.z)};
    box->max =
        (struct point){fmaxf(box->max.x, p.x), fmaxf(box->max.y, p.y), fmaxf(box->max.z, p.z)};
}

/* Of no use when cancelled. */
static void find_boxes(const struct mesh *mesh, const struct components *components,
                       struct box *box, const struct job *job)
{
    for (size_t i = 0; i < components->count; i++)
        box[i] = (struct box){
            {INFINITY, INFINITY, INFINITY}, {-INFINITY, -INFINITY, -INFINITY}, NO_INDEX};
    for (size_t t = 0; t < mesh_triangles(mesh); t++) {
        if (t % BLOCK == 0 && job_cancelled(job))
            return;
        struct box *b = box + components->of[t];
        b->first = b->first == NO_INDEX ? (uint32_t)t : b->first;
        for (int k = 0; k < 3; k++)
            box_add(b, mesh_point(mesh)[mesh_triangle(mesh)[t].v[k]]);
    }
}

static struct place place_box(const struct box *box)
{
    struct vec low = point_vec(box->min), high = point_vec(box->max);
    return (struct place){box->first, vec_point(vec_scale(vec_add(low, high), 0.5)),
                          (float)(vec_length(vec_sub(high, low)) / 2)};
}

struct place *parts_places(const struct mesh *mesh, const struct parts *parts, size_t from,
                           size_t end, size_t *kept, struct job *job)
{
    const struct components *components = mesh_components(mesh, job);
    if (!components)
        return NULL;
    *kept = end - from < PLACES_MOST ? end - from : PLACES_MOST;
    struct box *box = scratch_new(components->count, sizeof *box);
    struct place *places = box ? malloc((*kept + 1) * sizeof *places) : NULL;
    if (places) {
        find_boxes(mesh, components, box, job);
        for (size_t i = 0; i < *kept; i++)
            places[i] = place_box(box + parts->part[from + i].component);
    } else {
        job_fail_memory(job, components->count * sizeof *box);
    }
    scratch_free(box);
    return places;
}

enum status parts_find(const struct mesh *mesh, struct parts *out, struct job *job)
{
    *out = (struct parts){0};
    const struct components *components = mesh_components(mesh, job);
    if (!components)
        return job_status(job);
    struct part *part = scratch_new(components->count, sizeof *part);
    if (!part)
        return job_fail_memory(job, components->count * sizeof *part);
    size_t count = components->count, large = 0;
    for (size_t i = 0; i < count; i++)
        part[i] = (struct part){(uint32_t)i, components->area[i]};
    qsort(part, count, sizeof *part, largest_first);
    while (large < count && part[large].area >= BIT_SHARE * part[0].area)
        large++;
    *out = (struct parts){part, count, large};
    return STATUS_OK;
}

void parts_release(struct parts *parts)
{
    scratch_free(parts->part);
    *parts = (struct parts){0};
}
