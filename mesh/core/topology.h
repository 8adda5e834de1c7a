/* Who is whose neighbour. Half-edge h = 3 * triangle + k runs from corner k to corner k+1 of its
 * triangle. All is by vertex index: join the mesh (weld) first where positions repeat. */
#ifndef FETTLE_CORE_TOPOLOGY_H
#define FETTLE_CORE_TOPOLOGY_H

#include "core/derive.h"

/* Values of twin[] beside a half-edge: */
#define TWIN_NONE UINT32_MAX       /* a boundary edge: one triangle */
#define TWIN_MANY (UINT32_MAX - 1) /* a non-manifold edge: three triangles or more; also a side
                                      whose two ends are one vertex, which is no edge */
#define TWIN_FLIPPED 0x80000000u   /* bit: the pair runs the same way (misoriented) */

struct topology {
    uint32_t *twin;      /* 3 * triangles: the half-edge across; mind TWIN_FLIPPED */
    uint32_t *fan;       /* one a vertex: a half-edge leaving it, a boundary one when it has any
                            (the fan then starts there); NO_INDEX for a vertex no triangle uses */
    size_t edges;        /* undirected, degenerate ones (both ends the same vertex) left out */
    size_t boundary, misoriented, nonmanifold; /* edges of that kind */
    size_t nonmanifold_vertices; /* with more than one fan, or an end of a non-manifold edge;
                                    which they are: fans.h */
    size_t unused_vertices;      /* which no triangle uses */
};

static inline uint32_t half_next(uint32_t h)
{
    return h % 3 == 2 ? h - 2 : h + 1;
}
static inline uint32_t half_prev(uint32_t h)
{
    return h % 3 == 0 ? h + 2 : h - 1;
}
static inline uint32_t half_from(const struct triangle *triangles, uint32_t h)
{
    return triangles[h / 3].v[h % 3];
}
static inline uint32_t half_to(const struct triangle *triangles, uint32_t h)
{
    return half_from(triangles, half_next(h));
}
/* The half-edge across, or NO_INDEX at a boundary, a non-manifold or a misoriented edge. */
static inline uint32_t half_across(const struct topology *topology, uint32_t h)
{
    uint32_t twin = topology->twin[h];
    return twin & TWIN_FLIPPED ? NO_INDEX : twin;
}

struct loops { /* boundary loops; a rim that touches itself in a vertex is split there */
    size_t count;
    uint32_t *start; /* loop i is half[start[i]] ... half[start[i + 1] - 1] */
    uint32_t *half;  /* boundary half-edges, each beginning where the one before ends */
    double *length;  /* mm, one a loop */
    size_t chains;   /* what closes no loop, where faces are misoriented or edges non-manifold:
                        chain j is held as loop count + j; its last end is not its first */
};

struct components { /* pieces of surface connected across edges of any kind */
    size_t count;
    uint32_t *of;       /* one a triangle: its component, numbered from 0 by first triangle */
    uint32_t *triangles; /* one a component */
    double *area;       /* mm2, one a component */
};

struct bounds { /* of all vertices, in world coordinates, mm; zeros when there are none */
    struct vec min, max, size, centre;
};

/* The box around several meshes together, world; min is above max when they have no vertex. */
enum status meshes_box(const struct mesh *const *mesh, size_t count, struct vec *min,
                       struct vec *max, struct job *job);

struct normals {
    struct point *vertex; /* unit, angle-weighted over the faces; zero where there is none */
};

/* Each is NULL on failure (job_status says why). Owned by the mesh. */
static inline const struct topology *mesh_topology(const struct mesh *mesh, struct job *job)
{
    return mesh_derive(mesh, DERIVED_topology, job);
}
static inline const struct loops *mesh_loops(const struct mesh *mesh, struct job *job)
{
    return mesh_derive(mesh, DERIVED_loops, job);
}
static inline const struct components *mesh_components(const struct mesh *mesh, struct job *job)
{
    return mesh_derive(mesh, DERIVED_components, job);
}
static inline const struct bounds *mesh_bounds(const struct mesh *mesh, struct job *job)
{
    return mesh_derive(mesh, DERIVED_bounds, job);
}
static inline const struct normals *mesh_normals(const struct mesh *mesh, struct job *job)
{
    return mesh_derive(mesh, DERIVED_normals, job);
}

#endif
