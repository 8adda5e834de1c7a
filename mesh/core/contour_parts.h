/* What the files contour*.c share: the steps of contours_fill. Nobody else includes this.
 *
 * A node is a visit of a contour at a point; node i, for i below the number of edges, is edge i at
 * the point where it begins. Bridges add nodes. */
#ifndef FETTLE_CORE_CONTOUR_PARTS_H
#define FETTLE_CORE_CONTOUR_PARTS_H

#include "core/contours.h"
#include "core/exact.h"
#include "core/job.h"
#include "core/planar.h"

/* --- contour_chain.c: which edge follows which ----------------------------------------------- */

struct chain {
    const double (*at)[2];
    size_t nodes, room;
    uint32_t *point; /* one a node */
    uint32_t *next;  /* NO_INDEX: the contour ends, or the edge is not part of a closed one */
    uint32_t *prev;
    uint32_t *partner; /* of one side of a bridge: the other side's node; else NO_INDEX */
    uint32_t *sibling; /* the nodes at one point, in a circle */
    uint32_t *loop;    /* the closed contour it is part of, or NO_INDEX */
    size_t loops;
    uint32_t *first; /* one a loop: a node of it */
};

/* Links the edges into closed contours. At a point that several contours visit they are told apart
 * so that none crosses another: an edge that arrives goes on along the edge that bounds the same
 * corner of the region. On failure nothing is owned. */
enum status chain_make(const struct contours *contours, struct chain *out, struct job *job);
void chain_release(struct chain *chain);

/* Whether the direction from node's point to `to` points into the corner of the region there. */
bool chain_corner_holds(const struct chain *chain, uint32_t node, const double to[2]);

/* --- contour_nest.c: holes joined to their rims ---------------------------------------------- */

struct nest {
    uint32_t *root; /* one a loop: the loop whose region it bounds (itself for an outer one), or
                       NO_INDEX for a slit with no region around it */
    double *area2;  /* one a loop: twice its area, positive when counter-clockwise */
};

/* Finds the rim of every hole and joins the two by a bridge in the chain. On failure nothing is
 * owned. */
enum status nest_make(struct chain *chain, struct nest *out, struct job *job);
void nest_release(struct nest *nest);

/* --- contour_bridges.c: what a bridge must not cross ----------------------------------------- */

enum { BRIDGE_TREES = 32 };

struct bridges {
    uint32_t *edge; /* one a bridge, its name, in the order they were built */
    double (*low)[2], (*high)[2];
    size_t count, trees;
    struct planar tree[BRIDGE_TREES]; /* each smaller than the one before; the last few have none */
};

/* Room for so many. False when out of memory. */
bool bridges_make(struct bridges *bridges, size_t most);
void bridges_release(struct bridges *bridges);

/* False when out of memory. */
bool bridges_add(struct bridges *bridges, uint32_t edge, const double from[2], const double to[2]);

/* Calls `visit` for those whose boxes `reach` lets pass, and some others. */
void bridges_walk(const struct bridges *bridges,
                  bool (*reach)(const struct planar_box *box, const void *context),
                  bool (*visit)(uint32_t edge, void *context), void *context);

/* --- contour_edges.c: so that no edge is made twice ------------------------------------------ */

struct edge_set {
    uint64_t *slot;
    size_t capacity, used;
};

/* A set with room for what a polygon of so many nodes needs. False when out of memory. */
bool edge_set_make(struct edge_set *set, size_t nodes);
void edge_set_release(struct edge_set *set);
bool edge_set_holds(const struct edge_set *set, uint32_t a, uint32_t b);
void edge_set_add(struct edge_set *set, uint32_t a, uint32_t b);
void edge_set_remove(struct edge_set *set, uint32_t a, uint32_t b);
bool edge_set_full(const struct edge_set *set); /* nothing more may be added */

/* --- contour_ears.c: one weakly simple polygon into triangles -------------------------------- */

struct ring { /* the nodes of one polygon, numbered from 0 in its order */
    uint32_t count;
    double (*at)[2]; /* counter-clockwise */
    uint32_t *point;
    uint32_t *partner;
    struct edge_set edges; /* between points: sides and cuts */
    uint32_t (*corner)[3]; /* count - 2 triangles of nodes */
    uint32_t *twin;        /* one a side 3 t + k, from corner k to the next: the side across, or
                              NO_INDEX where it lies on a contour */
    uint32_t triangles;
    double grain; /* of the contours */
};

/* Cuts the ring (3 nodes or more, arrays made by the caller) into triangles: fills corner, twin and
 * triangles (fewer than count - 2 only when what is left has no two different points to cut
 * between). Several rings may be cut at a time: the job is only asked about cancel, and the failure
 * is for the caller to record. */
enum status ears_cut(struct ring *ring, const struct job *job);

/* --- contour_flip.c ------------------------------------------------------------------------ */

/* Flips inner edges until the triangles are Delaunay within the contours. The job as above. */
enum status flips_make(struct ring *ring, const struct job *job);

#endif
