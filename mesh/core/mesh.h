/* The mesh: positions and triangles in counted arrays, attributes, and what is derived from them.
 *
 * A mesh is filled by the one who made it and is immutable from the moment it is shared or derived
 * from. A broken mesh is a mesh too: triangles may be degenerate, doubled, flipped; the only
 * promise is that every index is below the number of vertices and every position is finite
 * (readers and operations see to it). A mesh without triangles is a point cloud. */
#ifndef FETTLE_CORE_MESH_H
#define FETTLE_CORE_MESH_H

#include <stdatomic.h>
#include <stdint.h>

#include "core/array.h"
#include "core/vec.h"

struct job;

enum { MESH_MOST = 0x7ffffff0 / 3 }; /* vertices or triangles; 3 * triangle + 2 fits 31 bits */
#define NO_INDEX UINT32_MAX

struct point { /* a position beside the mesh's origin, mm */
    float x, y, z;
};

struct triangle { /* counter-clockwise seen from outside */
    uint32_t v[3];
};

enum surface_origin { ORIGIN_MEASURED, ORIGIN_INVENTED, ORIGIN_MADE };

enum attribute {
#define ATTRIBUTE(name, domain, element, components, blend, help) ATTRIBUTE_##name,
#include "core/attributes.def"
#undef ATTRIBUTE
    ATTRIBUTE_COUNT
};

enum derived {
#define DERIVED(name, help) DERIVED_##name,
#include "core/derived.def"
#undef DERIVED
    DERIVED_COUNT
};

struct derived_slots; /* the cache; see derive.h */

struct mesh {
    double origin[3];        /* world position = origin + point */
    struct array *point;     /* struct point, one a vertex */
    struct array *triangle;  /* struct triangle */
    struct array *attribute[ATTRIBUTE_COUNT]; /* NULL where there is none */
    bool joined;             /* no two vertices have the same position (weld has run) */
    struct derived_slots *slots;
    atomic_size_t refs;
};

/* A new mesh with room for so many vertices and triangles, contents undefined, no attributes,
 * origin zero, one holder. NULL when out of memory or more than MESH_MOST. */
struct mesh *mesh_new(size_t vertices, size_t triangles);

/* The origin for a mesh that is at `at` or near it: along each axis zero, or a multiple of 1024 near
 * it where floats beside zero would lose digits (beyond 1e4). Files are read and written beside this
 * one, so that saving a mesh that has it rounds nothing. */
void mesh_origin_for(const double at[3], double origin[3]);

/* A new mesh that shares all arrays of `mesh`, for an operation that replaces some of them. */
struct mesh *mesh_new_like(const struct mesh *mesh);

/* One more holder; returns the same mesh. */
struct mesh *mesh_share(const struct mesh *mesh);

/* One holder less; the last frees it and all that was derived from it. NULL is allowed. */
void mesh_free(struct mesh *mesh);

/* Bytes of its arrays (shared ones count fully), without what is derived. */
size_t mesh_bytes(const struct mesh *mesh);

static inline size_t mesh_vertices(const struct mesh *mesh)
{
    return mesh->point->count;
}
static inline size_t mesh_triangles(const struct mesh *mesh)
{
    return mesh->triangle->count;
}
static inline const struct point *mesh_point(const struct mesh *mesh)
{
    return mesh->point->data;
}
static inline const struct triangle *mesh_triangle(const struct mesh *mesh)
{
    return mesh->triangle->data;
}
/* For the maker only, before the mesh is shared. */
static inline struct point *mesh_point_edit(struct mesh *mesh)
{
    return mesh->point->data;
}
static inline struct triangle *mesh_triangle_edit(struct mesh *mesh)
{
    return mesh->triangle->data;
}

static inline struct vec point_vec(struct point p)
{
    return vec(p.x, p.y, p.z);
}
static inline struct point vec_point(struct vec a)
{
    return (struct point){(float)a.x, (float)a.y, (float)a.z};
}
/* Where vertex v is in the world, mm. */
static inline struct vec mesh_world(const struct mesh *mesh, struct vec local)
{
    return vec(mesh->origin[0] + local.x, mesh->origin[1] + local.y, mesh->origin[2] + local.z);
}
static inline struct vec mesh_local(const struct mesh *mesh, struct vec world)
{
    return vec(world.x - mesh->origin[0], world.y - mesh->origin[1], world.z - mesh->origin[2]);
}

/* --- attributes ------------------------------------------------------------------------- */

enum domain { DOMAIN_VERTEX, DOMAIN_CORNER, DOMAIN_TRIANGLE };
enum element { ELEMENT_uint8_t, ELEMENT_uint16_t, ELEMENT_float };
enum blend { BLEND_MEAN, BLEND_UNIT, BLEND_FIRST };

struct attribute_row {
    const char *name;
    enum domain domain;
    enum element element;
    unsigned components;
    size_t stride; /* bytes an element of its domain */
    enum blend blend;
    const char *help;
};

const struct attribute_row *attribute_row(enum attribute attribute);

/* Every byte of the value of what comes from a mesh without the attribute, beside another that has
 * it: colour is opaque white, all else zero. */
unsigned char attribute_blank(enum attribute attribute);

/* How many elements of that domain the mesh has. */
size_t mesh_domain(const struct mesh *mesh, enum domain domain);

/* Gives the mesh an array for the attribute (contents undefined) and returns its data, for the
 * maker to fill; an earlier one is let go. NULL when out of memory. */
void *mesh_attribute_new(struct mesh *mesh, enum attribute attribute);

/* Its values, or NULL when the mesh has none. Cast to the row's type. */
static inline const void *mesh_attribute(const struct mesh *mesh, enum attribute attribute)
{
    return mesh->attribute[attribute] ? mesh->attribute[attribute]->data : NULL;
}

#endif
