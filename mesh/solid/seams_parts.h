/* What the files seams*.c share. Nobody else includes this. */
#ifndef FETTLE_SOLID_SEAMS_PARTS_H
#define FETTLE_SOLID_SEAMS_PARTS_H

#include "core/job.h"
#include "core/lineage.h"
#include "core/topology.h"
#include "solid/pile.h"

struct seams_many { /* a half-edge of an edge that many triangles have */
    uint32_t low, high, half;
};

struct seams_half { /* what was split off a triangle */
    struct triangle triangle;
    uint32_t from;
};

struct seams {
    const struct mesh *mesh;
    const struct topology *topology;
    double apart;
    struct job *job;
    struct pile many;      /* struct seams_many, sorted */
    uint32_t *mate;        /* one a half-edge: on an edge of many, the one it goes together with */
    struct triangle *made; /* the triangles as they become */
    struct pile point;     /* struct point: new vertices */
    struct pile mix;       /* struct mix */
    struct pile extra;     /* struct seams_half */
};

static inline struct vec seams_at(const struct seams *s, uint32_t vertex)
{
    return point_vec(mesh_point(s->mesh)[vertex]);
}

/* seams.c: a new vertex. False when there is no memory. */
bool seams_add(struct seams *s, struct vec at, struct mix mix, uint32_t *vertex);

/* seams_pair.c: which half-edges of edges of many go together. */
enum status seams_pair(struct seams *s);

/* seams_split.c: edges that stay two in one place get a middle of their own. */
enum status seams_split(struct seams *s);

#endif
