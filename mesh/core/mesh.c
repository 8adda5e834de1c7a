#include "core/mesh.h"

#include <math.h>
#include <stdlib.h>

#include "core/derive.h"

static const struct attribute_row rows[] = {
#define ATTRIBUTE(name, domain, type, components, blend, help)                                     \
    {#name, DOMAIN_##domain, ELEMENT_##type, components, components * sizeof(type), BLEND_##blend, help},
#include "core/attributes.def"
#undef ATTRIBUTE
};

static struct mesh *mesh_blank(void)
{
    struct mesh *mesh = calloc(1, sizeof *mesh);
    if (!mesh)
        return NULL;
    atomic_init(&mesh->refs, 1);
    mesh->slots = derived_slots_new();
    if (!mesh->slots) {
        free(mesh);
        return NULL;
    }
    return mesh;
}

static const double far = 1e4, far_grid = 1024;
static const double too_far = 1e15; /* a double has no digits behind the point there */

void mesh_origin_for(const double at[3], double origin[3])
{
    for (int k = 0; k < 3; k++) {
        bool needed = fabs(at[k]) > far && fabs(at[k]) < too_far;
        origin[k] = needed ? round(at[k] / far_grid) * far_grid : 0;
    }
}

struct mesh *mesh_new(size_t vertices, size_t triangles)
{
    if (vertices > MESH_MOST || triangles > MESH_MOST)
        return NULL;
    struct mesh *mesh = mesh_blank();
    if (!mesh)
        return NULL;
    mesh->point = array_new(vertices, sizeof(struct point));
    mesh->triangle = array_new(triangles, sizeof(struct triangle));
    if (!mesh->point || !mesh->triangle) {
        mesh_free(mesh);
        return NULL;
    }
    return mesh;
}

struct mesh *mesh_new_like(const struct mesh *mesh)
{
    struct mesh *like = mesh_blank();
    if (!like)
        return NULL;
    for (int i = 0; i < 3; i++)
        like->origin[i] = mesh->origin[i];
    like->joined = mesh->joined;
    like->point = array_share(mesh->point);
    like->triangle = array_share(mesh->triangle);
    for (int i = 0; i < ATTRIBUTE_COUNT; i++)
        like->attribute[i] = array_share(mesh->attribute[i]);
    return like;
}

struct mesh *mesh_share(const struct mesh *mesh)
{
    struct mesh *shared = (struct mesh *)(uintptr_t)mesh; /* the count is not part of the value */
    if (shared)
        atomic_fetch_add_explicit(&shared->refs, 1, memory_order_relaxed);
    return shared;
}

void mesh_free(struct mesh *mesh)
{
    if (!mesh || atomic_fetch_sub_explicit(&mesh->refs, 1, memory_order_acq_rel) != 1)
        return;
    array_free(mesh->point);
    array_free(mesh->triangle);
    for (int i = 0; i < ATTRIBUTE_COUNT; i++)
        array_free(mesh->attribute[i]);
    derived_slots_free(mesh->slots);
    free(mesh);
}

size_t mesh_bytes(const struct mesh *mesh)
{
    size_t bytes = array_bytes(mesh->point) + array_bytes(mesh->triangle);
    for (int i = 0; i < ATTRIBUTE_COUNT; i++)
        bytes += array_bytes(mesh->attribute[i]);
    return bytes;
}

const struct attribute_row *attribute_row(enum attribute attribute)
{
    return &rows[attribute];
}

unsigned char attribute_blank(enum attribute attribute)
{
    return attribute == ATTRIBUTE_colour ? UINT8_MAX : 0;
}

size_t mesh_domain(const struct mesh *mesh, enum domain domain)
{
    switch (domain) {
    case DOMAIN_VERTEX:
        return mesh_vertices(mesh);
    case DOMAIN_CORNER:
        return 3 * mesh_triangles(mesh);
    case DOMAIN_TRIANGLE:
        break;
    }
    return mesh_triangles(mesh);
}

void *mesh_attribute_new(struct mesh *mesh, enum attribute attribute)
{
    const struct attribute_row *row = attribute_row(attribute);
    struct array *array = array_new(mesh_domain(mesh, row->domain), row->stride);
    if (!array)
        return NULL;
    array_free(mesh->attribute[attribute]);
    mesh->attribute[attribute] = array;
    return array->data;
}
