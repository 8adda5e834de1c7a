/* What the files arrange*.c share. Nobody else includes this. */
#ifndef FETTLE_SOLID_ARRANGE_PARTS_H
#define FETTLE_SOLID_ARRANGE_PARTS_H

#include "core/job.h"
#include "solid/arrange.h"

struct touched { /* a triangle that meets others */
    uint32_t triangle;
    int64_t p[3][3]; /* its corners on the grid */
    uint32_t spot[3];
    struct plane plane;
    int dropped, turn; /* the axis to leave out, and how it then runs; turn 0: it is a line */
    uint32_t cluster;  /* those in one plane that overlap are cut together */
};

struct stretch { /* a segment in a triangle (a point, when both ends are one) */
    uint32_t in; /* of touched */
    uint32_t end[2];
    uint32_t other; /* of touched: the triangle it is cut by; NO_INDEX: a side of its own */
    uint32_t side;
};

struct facet { /* a triangle of the result, in spots */
    uint32_t spot[3];
    uint32_t from; /* a triangle of the mesh */
};

struct arranging {
    const struct mesh *mesh;
    struct spots *spots;
    struct pile touched, stretch, facet;
    uint32_t *touched_of; /* one a triangle of the mesh, or NO_INDEX */
    uint32_t *set;        /* one a touched: clusters as disjoint sets */
    struct job *job;
};

static inline struct touched *touched_at(const struct arranging *a, uint32_t i)
{
    return PILE(a->touched, struct touched) + i;
}

/* --- arrange_meet.c: what two triangles have in common; STATUS_MEMORY --- */
enum status arrange_meet(struct arranging *a, uint32_t x, uint32_t y);

/* --- arrange_cut.c: the triangles of one cluster, cut up --- */
/* member: touched; stretch: all of theirs, sides included. */
enum status arrange_cut(struct arranging *a, const uint32_t *member, size_t members,
                        const struct stretch *stretch, size_t stretches);

/* The plane that a stretch lies in beside that of its triangle. */
struct plane stretch_plane(const struct arranging *a, const struct stretch *s);

#endif
