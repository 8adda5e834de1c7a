/* What the files cut*.c share: the steps of cut_mesh. Nobody else includes this.
 *
 * While cutting, vertices below mesh_vertices(mesh) are those of the mesh; the others are made
 * ones, counted on from there. */
#ifndef FETTLE_SOLID_CUT_PARTS_H
#define FETTLE_SOLID_CUT_PARTS_H

#include "core/job.h"
#include "core/lineage.h"
#include "solid/cut.h"

struct made_vertex {
    struct mix mix;
    struct point at;
    struct vec apart; /* in the plane: where to go if another is in its place */
};

struct rim_edge { /* an edge of a kept triangle that lies in the plane, as the triangle runs it */
    uint32_t from, to;
    uint32_t piece;
};

struct cutting {
    const struct mesh *mesh;
    struct vec normal; /* unit */
    double offset;     /* in the plane: dot(normal, p) = offset */
    struct job *job;

    int8_t *sign;      /* one a vertex: 1 kept, 0 in the plane, -1 cut off */
    size_t *block;     /* triangles of each BLOCK that are kept whole; later where they go */
    size_t whole;      /* all of them */
    uint32_t *touched; /* ascending: the triangles that need a look */
    size_t touched_count;

    struct triangle *piece; /* what is kept of the touched ones */
    uint32_t *ancestor;     /* one a piece */
    size_t pieces;

    struct made_vertex *made;
    size_t mades, made_room;

    struct rim_edge *rim;
    size_t rims;

    struct triangle *cap;
    size_t caps;
    struct cut_report report;
};

enum { CUT_BLOCK = 16384 }; /* triangles or vertices handed to a thread at a time */

/* A small mesh is not worth a second thread. */
static inline int cut_threads(const struct cutting *c)
{
    return mesh_triangles(c->mesh) > 2 * CUT_BLOCK ? job_threads(c->job) : 1;
}

/* --- cut_sides.c --- */

/* Sets sign, block, whole, touched, and report.removed of what has no part on the kept side. */
enum status cut_sides(struct cutting *c);

/* --- cut_pieces.c --- */

/* Sets pieces, made vertices and rim. */
enum status cut_pieces(struct cutting *c);

struct vec cut_position(const struct cutting *c, uint32_t vertex);

/* A place for a made vertex: near p, towards `apart` in the plane, `steps` of the least distance
 * single precision tells. */
struct point cut_nudge(const struct cutting *c, struct vec p, struct vec apart, double steps);

/* Appends a made vertex; *vertex is its number. */
enum status cut_make_vertex(struct cutting *c, const struct made_vertex *made, uint32_t *vertex);

/* --- cut_cap.c --- */

/* Sets cap and the report's figures about it. */
enum status cut_cap(struct cutting *c);

/* --- cut_part.c --- */

struct rim_graph {    /* the contours, by points numbered from 0 */
    uint32_t *vertex; /* one a point */
    size_t points;
    uint32_t (*edge)[2]; /* as the cap runs them */
    uint8_t *filled;     /* one an edge */
    size_t edges;
    uint32_t *point_of; /* one a vertex of the mesh, then one a made one: its point, or NO_INDEX */
};

/* Lifts vertices that touch the plane with nothing but triangles above around them: the tip of a
 * hollow would touch the cap. Before the rim is settled. */
enum status cut_lift(struct cutting *c);

/* Where kept triangles and cap meet in a vertex without being neighbours around it, each group gets
 * a vertex of its own. */
enum status cut_part(struct cutting *c, const struct rim_graph *graph);

/* --- cut_settle.c --- */

/* Mends what rounding folded among pieces and caps, where any are thin enough for that. */
enum status cut_settle(struct cutting *c);

#endif
