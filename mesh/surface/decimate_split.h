/* Splitting a surface into patches that are decimated independently, and joining what is left.
 *
 * Patches are runs of the cells of a grid in Morton order. A vertex may move only when all its
 * triangles are in one patch; so patches share vertices that stay as they are, and it does not
 * matter which thread works on which, or when. Each round splits differently (`round` shifts the
 * grid), so that what lay between patches comes inside. */
#ifndef FETTLE_SURFACE_DECIMATE_SPLIT_H
#define FETTLE_SURFACE_DECIMATE_SPLIT_H

#include "surface/decimate_guard.h"
#include "surface/decimate_judge.h"
#include "surface/decimate_patch.h"
#include "surface/decimate_trail.h"

struct job;

struct surface { /* as it is between rounds; NULL arrays: those of the original mesh */
    const struct mesh *mesh;
    double unit; /* of costs: 1 / size^4 */
    size_t vertices, triangles;
    struct point *point;
    struct triangle *triangle;
    uint32_t *vertex_of;   /* which vertex of the original each is */
    uint32_t *triangle_of; /* which triangle of the original each descends from */
    uint32_t *parent;   /* one a vertex of the original: the one it was merged into, or NO_INDEX */
    float (*colour)[3]; /* one a vertex, 0 to 1, when it counts, */
    double contrast;    /* black to white as so many mm2; 0: it does not */
    const struct flats *flats;         /* to be kept flat */
    const struct tolerance *tolerance; /* to be kept, or NULL */
    uint32_t *head;                    /* with one: of each triangle, its first sample */
    const struct decimate_options *judge; /* who has a say in each collapse, or NULL */
    struct trail *trail;                  /* to be told of all that is done, or NULL */
    const uint8_t *locked;             /* one a vertex of the original: it stays; or NULL */
};

struct split {
    size_t count;
    struct patch *patch;
    struct guard *guard;     /* of each patch; NULL without a tolerance */
    struct judge judge;      /* of all patches, if there is one */
    struct trail_part *part; /* of each patch; NULL without a trail */
    size_t *start; /* patch i has the triangles order[start[i]] ... order[start[i + 1] - 1] */
    uint32_t *order;
    uint32_t *home;   /* one a vertex: the patch it is numbered in; while patches are made */
    uint32_t *number; /* one a vertex, while patches are made and when they are joined */
    uint8_t *shared;  /* one a vertex: some triangle of it is in another patch than its home */
};

enum status surface_init(struct surface *surface, const struct mesh *mesh, struct job *job);

/* Makes the mesh's vertex colours count: black to white as much as a deviation of `contrast` mm. */
enum status surface_count_colour(struct surface *surface, double contrast, struct job *job);
void surface_release(struct surface *surface);

/* Takes its points and triangles from a mesh, whose vertex_of and triangle_of it has already. */
enum status surface_take(struct surface *surface, const struct mesh *mesh, struct job *job);

static inline const struct point *surface_point(const struct surface *s)
{
    return s->point ? s->point : mesh_point(s->mesh);
}
static inline const struct triangle *surface_triangle(const struct surface *s)
{
    return s->triangle ? s->triangle : mesh_triangle(s->mesh);
}
static inline uint32_t surface_vertex_of(const struct surface *s, uint32_t v)
{
    return s->vertex_of ? s->vertex_of[v] : v;
}

static inline uint32_t surface_triangle_of(const struct surface *s, uint32_t t)
{
    return s->triangle_of ? s->triangle_of[t] : t;
}

/* Splits the surface and builds all patches. On failure nothing is owned. */
enum status split_make(struct split *split, const struct surface *surface, unsigned round,
                       bool keep_rim, struct job *job);

/* Makes the surface what the patches have become. The split is still to be released. */
enum status split_join(struct split *split, struct surface *surface, struct job *job);
void split_release(struct split *split);

#endif
