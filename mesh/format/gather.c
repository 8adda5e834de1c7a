#include "format/gather.h"

#include <stdatomic.h>

#include "core/job.h"
#include "format/turns.h"

_Static_assert(sizeof(((struct gather *)0)->all) == offsetof(struct gather, origin),
               "GATHER_LISTS counts the lists");

enum { FIRST_ROOM = 1024 };

/* --- lists ------------------------------------------------------------------------------- */

void *gather_more(struct gather *gather, struct list *list, size_t n)
{
    size_t need = list->used + n, room = list->array ? list->array->count : 0;
    if (need > room) {
        room = room + room / 2 > need ? room + room / 2 : need;
        room = room > FIRST_ROOM ? room : FIRST_ROOM;
        if (list->array ? !array_grow(list->array, room)
                        : !(list->array = array_new(room, list->stride))) {
            gather->starved = true;
            return NULL;
        }
    }
    char *at = (char *)list->array->data + list->used * list->stride;
    list->used = need;
    return at;
}

void gather_pad(struct gather *gather, struct list *list, size_t count, const void *value,
                size_t stride)
{
    list->stride = stride;
    if (list->used >= count)
        return;
    size_t n = count - list->used;
    char *at = gather_more(gather, list, n);
    for (size_t i = 0; at && i < n; i++)
        memcpy(at + i * stride, value, stride);
}

static void append(struct gather *gather, struct list *list, const struct list *more)
{
    if (!more->used)
        return;
    list->stride = more->stride;
    void *at = gather_more(gather, list, more->used);
    if (at)
        memcpy(at, more->array->data, more->used * more->stride);
}

void gather_clear(struct gather *gather)
{
    for (int i = 0; i < GATHER_LISTS; i++)
        gather->all[i].used = 0;
    gather->wrong = 0;
}

void gather_release(struct gather *gather)
{
    for (int i = 0; i < GATHER_LISTS; i++) {
        array_free(gather->all[i].array);
        gather->all[i] = (struct list){0};
    }
}

size_t gather_face(struct gather *gather, const uint32_t *vertex, size_t corners)
{
    if (corners < 3 || corners > MESH_MOST) {
        gather->wrong++;
        return 0;
    }
    if (corners > 3)
        GATHER_ADD(gather, &gather->polygon, struct polygon,
                   {(uint32_t)gather->triangle.used, (uint32_t)corners});
    gather->triangle.stride = sizeof(struct triangle);
    for (size_t k = 1; k + 1 < corners; k++)
        GATHER_ADD(gather, &gather->triangle, struct triangle,
                   {{vertex[0], vertex[k], vertex[k + 1]}});
    return corners - 2;
}

/* --- parts ------------------------------------------------------------------------------- */

const void *gather_nothing(enum attribute attribute)
{
    static const uint8_t white[4] = {255, 255, 255, 255}, zero[16];
    return attribute == ATTRIBUTE_colour ? white : zero;
}

size_t gather_per_triangle(enum attribute attribute)
{
    return attribute_row(attribute)->domain == DOMAIN_CORNER ? 3 : 1;
}

void gather_pad_all(struct gather *gather, const struct gather *with)
{
    static const uint32_t none = NO_INDEX;
    size_t vertices = gather->point.used, triangles = gather->triangle.used;
    for (enum attribute i = 0; i < ATTRIBUTE_COUNT; i++) {
        size_t stride = attribute_row(i)->stride;
        if (gather->vertex_attribute[i].used || with->vertex_attribute[i].used)
            gather_pad(gather, &gather->vertex_attribute[i], vertices, gather_nothing(i), stride);
        if (gather->triangle_attribute[i].used || with->triangle_attribute[i].used)
            gather_pad(gather, &gather->triangle_attribute[i], triangles * gather_per_triangle(i),
                       gather_nothing(i), stride);
    }
    if (gather->face_colour.used || with->face_colour.used)
        gather_pad(gather, &gather->face_colour, triangles, gather_nothing(ATTRIBUTE_colour), 4);
    if (gather->corner_texture.used || with->corner_texture.used)
        gather_pad(gather, &gather->corner_texture, 3 * triangles, &none, sizeof none);
}

static void append_faces(struct gather *into, const struct gather *part)
{
    size_t vertices = into->point.used, triangles = into->triangle.used;
    size_t polygons = into->polygon.used, textures = into->texture.used;
    append(into, &into->triangle, &part->triangle);
    append(into, &into->polygon, &part->polygon);
    append(into, &into->face_colour, &part->face_colour);
    append(into, &into->corner_texture, &part->corner_texture);
    if (into->starved)
        return;
    for (size_t i = polygons; i < into->polygon.used; i++)
        ((struct polygon *)into->polygon.array->data)[i].first += (uint32_t)triangles;
    const uint32_t *corner = part->relative.used ? part->relative.array->data : NULL;
    uint32_t *vertex = into->triangle.used ? into->triangle.array->data : NULL;
    for (size_t i = 0; i < part->relative.used; i++)
        vertex[3 * triangles + corner[i]] += (uint32_t)vertices;
    corner = part->corner_relative.used ? part->corner_relative.array->data : NULL;
    uint32_t *texture = into->corner_texture.used ? into->corner_texture.array->data : NULL;
    for (size_t i = 0; i < part->corner_relative.used; i++)
        texture[3 * triangles + corner[i]] += (uint32_t)textures;
}

static void append_part(struct gather *into, struct gather *part)
{
    gather_pad_all(into, part);
    gather_pad_all(part, part);
    append_faces(into, part);
    append(into, &into->point, &part->point);
    append(into, &into->texture, &part->texture);
    append(into, &into->normal, &part->normal);
    append(into, &into->cell, &part->cell);
    append(into, &into->camera, &part->camera);
    for (enum attribute i = 0; i < ATTRIBUTE_COUNT; i++) {
        append(into, &into->vertex_attribute[i], &part->vertex_attribute[i]);
        append(into, &into->triangle_attribute[i], &part->triangle_attribute[i]);
    }
    into->wrong += part->wrong;
    into->starved = into->starved || part->starved;
}

enum status gather_parts(struct gather *into, size_t count, gather_part *read, const void *context,
                         uint64_t steps, size_t *stopped, struct job *job)
{
    atomic_size_t stop = count; /* the first part after which there is no going on */
    struct turns turns;
    turns_init(&turns, count);
#pragma omp parallel num_threads(job_threads(job)) if (count > 1)
    {
        struct gather part = {0};
        memcpy(part.origin, into->origin, sizeof part.origin);
        for (size_t i; turns_take(&turns, &i); turns_end(&turns)) {
            bool wanted = i <= atomic_load(&stop) && !job_cancelled(job);
            bool go = wanted && read(context, i, &part);
            turns_wait(&turns, i);
            if (wanted && i <= atomic_load(&stop))
                append_part(into, &part);
            if ((!go || into->starved) && i < atomic_load(&stop))
                atomic_store(&stop, i);
            job_step(job, steps);
            gather_clear(&part);
        }
        gather_release(&part);
    }
    turns_release(&turns);
    *stopped = atomic_load(&stop);
    if (job_cancelled(job))
        return job_fail_cancelled(job);
    return into->starved ? job_fail_memory(job, array_bytes(into->triangle.array)) : STATUS_OK;
}
