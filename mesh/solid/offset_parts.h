/* What the files offset*.c share. Nobody else includes this. */
#ifndef FETTLE_SOLID_OFFSET_PARTS_H
#define FETTLE_SOLID_OFFSET_PARTS_H

#include "core/job.h"
#include "core/net.h"
#include "core/tree.h"
#include "core/within.h"
#include "solid/offset.h"

struct field { /* negative on the solid's side of the offset surface, mm */
    const struct tree *tree;
    double by, side; /* side: 1 outward, -1 inward */
};

struct field_at {
    double value;
    struct vec up;     /* unit: which way it grows */
    uint32_t triangle; /* the nearest */
};

/* `guess`: a triangle that may be near, or NO_INDEX. */
struct field_at field_find(const struct field *field, struct vec at, uint32_t guess);

enum { OFFSET_SINGLE = 255 };

struct offsetting {
    const struct mesh *solid;
    struct field field;
    struct grid grid;
    struct net fine;          /* a vertex in each cell that the surface passes */
    struct net net;           /* that of the clusters: no links, normals and colours */
    int levels;               /* clusters are 2^levels cells long at the most; */
    bool dirty;               /* nodes went to the solid's side since the fine net was made */
    struct array *level;      /* this one, one byte a cell of the grid */
    uint32_t *cluster, *next; /* one a vertex of the fine net: its cluster, the next in it; */
    uint8_t *turned;          /* whether nodes of its cell were made to be on the solid's side */
    uint32_t *first;          /* one a cluster: its first member */
    struct spot *spot;        /* one a cluster */
    struct mesh *mesh;        /* of the net */
    struct prover **prover;   /* one a thread */
    bool wanting;   /* some place is farther off than allowed, or may be: a finer grid would help */
    bool strict;    /* to stop then */
    double allowed; /* mm: so much farther than the distance is as good as on it; */
    double thinned; /* and so much is it where triangles are left out */
    unsigned share, part; /* permille of the job: for all nets to come; for the present one */
    struct offset_report *report;
    struct job *job;
};

struct spot {            /* what is known of a net's vertex */
    struct point placed; /* where it was put first: the quads are cut by that */
    struct point up;     /* which way the field grows there; zero on a crease */
    uint32_t near;
    float more;     /* how much farther than the distance it is to stand, mm */
    float value;    /* of the field where it stands */
    uint8_t level;  /* its cluster is 2^level cells long; of single cells: */
    uint8_t inside; /* its corners on the solid's side; */
    uint8_t turned; /* of these, those that were made so */
    bool loose;     /* it is to be placed */
    bool stale;     /* its triangles are to be proved */
    bool fresh;     /* they have not been looked at since it moved */
    bool plain;     /* it is to stay off creases */
};

/* How long its cluster is, mm; its middle. */
static inline double offset_side(const struct offsetting *o, size_t v)
{
    return (double)o->grid.frame.step * (1 << o->spot[v].level);
}
struct vec offset_middle(const struct offsetting *o, size_t v);

/* The grid around the solid's box, and the blocks near the surface, their nodes with their values
 * (offset_grid.c). */
enum status offset_grid(struct offsetting *o, double spacing);

/* Draws the fine net's vertices together into clusters: the net, without spots (offset_cluster.c).
 */
enum status offset_cluster(struct offsetting *o);

/* Cuts marked clusters in eight, those marked OFFSET_SINGLE into cells; whether any could be cut.
 */
bool offset_cut(struct offsetting *o, const uint8_t *mark);

/* Marks the clusters where the mesh is no manifold. */
enum status offset_unsound(const struct offsetting *o, uint8_t *mark);

/* One net after another until each cluster that is not as good as on the distance is single cells;
 * its triangles proved, if that was to be had (offset_net.c). */
enum status offset_net(struct offsetting *o);

/* Looks for triangles that cross, have no area or could not be proved. Where there are any, makes
 * ready for another net (offset_wrong.c). */
enum status offset_wrong(struct offsetting *o, int round, bool *any);

/* Marks clusters whose triangles are not proved to be no farther off than allowed, of fresh ones
 * (offset_excess.c). */
enum status offset_excess(struct offsetting *o, uint8_t *mark);

/* Puts the vertices that are marked loose where they belong (offset_place.c); those of a list, in
 * which each is once. */
enum status offset_place(struct offsetting *o);
void offset_place_some(struct offsetting *o, const uint32_t *vertex, size_t count);

/* Places the vertices of an even sample of the net's quads, single cells, and looks whether any is
 * farther off than allowed (offset_excess.c): mostly that shows at once. */
enum status offset_sample(struct offsetting *o, bool *any);

/* Moves a vertex on to where spot->more says. */
void offset_push(struct offsetting *o, size_t v);

/* By how much a triangle as a whole is nearer than it may be, mm; 0: it is not. */
double offset_short_of(const struct offsetting *o, const struct vec corner[3]);

/* Proves the triangles at stale vertices, moving vertices until they hold (offset_prove.c).
 * Those of triangles for which that was not to be had stay stale. */
enum status offset_prove(struct offsetting *o);

/* Draws the mesh's vertices together as far as it stays as near to the distance as it may be: no
 * nearer than is proved, no farther off than it may be then (offset_thin.c). */
enum status offset_thin(struct offsetting *o);

/* Fills the report: what is met at vertices, bounds of triangles, turned nodes (offset_measure.c).
 */
enum status offset_measure(struct offsetting *o);

#endif
