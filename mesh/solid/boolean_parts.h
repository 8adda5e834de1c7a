/* What the files boolean*.c share. Nobody else includes this.
 *
 * Side 0 is mesh a, side 1 mesh b, beside one origin. As neither crosses itself, every point lies
 * inside exactly one simplex (vertex, edge or face) of each surface it is on: where the insides of
 * two simplices meet in a single point, the pair of them names it. Where they meet in more, that is
 * a piece of an edge of one that runs within an edge or a face of the other ("overlap"), a
 * segment across two faces ("seam"), or an area where faces lie in one plane, bounded by overlaps.
 *
 * Vertices of the result are "refs" while it is made: a's vertices, then b's, then the nodes that
 * are no vertex of a. */
#ifndef FETTLE_SOLID_BOOLEAN_PARTS_H
#define FETTLE_SOLID_BOOLEAN_PARTS_H

#include "core/job.h"
#include "core/lineage.h"
#include "core/topology.h"
#include "core/tree.h"
#include "solid/around.h"
#include "solid/boolean.h"
#include "solid/pile.h"

/* --- what is known ---------------------------------------------------------------------------- */

enum simplex_kind { VERTEX, EDGE, FACE };

struct simplex {
    uint32_t kind, id; /* an edge's is the lower of its two half-edges */
};

struct node { /* a point that the two surfaces have in common and that stands out */
    struct simplex in[2];
    struct vec at;
    uint32_t ref;
    bool used;      /* the result has it as a vertex */
    uint8_t beside; /* bit s: a kept piece of side s ends here */
};

struct seam {          /* faces of both cut through each other */
    uint32_t from, to; /* nodes, along the cross product of the faces' normals, a's first */
    uint32_t face[2];
};

struct sheet { /* a face as it reaches an overlap */
    uint32_t face;
    uint32_t apex; /* a vertex of the face on this side of the line */
    bool kept;
    uint8_t mate; /* when all four are kept: the sheet it bounds solid with, 2 * side + way */
};

struct overlap {
    uint32_t end[2]; /* nodes; the line runs from the first to the second */
    struct simplex in[2];
    int8_t way[2];            /* 1, -1: how the edge of that side runs; 0: it is a face */
    struct sheet sheet[2][2]; /* of each side: that which runs the line forward, the other */
    bool crowded;             /* all four are kept */
};

enum fate { UNKNOWN /* zero: scratch_zeros */, INSIDE, OUTSIDE, TOUCHED };

struct line { /* an edge of a touched face */
    uint32_t half;
    size_t first, count; /* its nodes: of stop[] */
};

struct stop { /* a node within an edge */
    uint32_t half, node;
};

struct bound { /* a directed edge of what is kept of a face; the kept part is on its left */
    uint32_t face, from, to; /* refs */
};

struct solid {
    const struct mesh *mesh;
    const struct topology *topology;
    struct mesh *part;            /* its faces that reach into the other's box, when they are few */
    const struct tree *near_tree; /* of them, else of all */
    unsigned rays;                /* asked for so far */
    const struct point *point;
    const struct triangle *triangle;
    uint32_t base;        /* ref of its vertex 0 */
    uint32_t *node_after; /* one a vertex: the number after that of its node; 0: it is none */
    uint8_t *vertex_fate, *face_fate;
    enum fate wanted;    /* what of it is in the result */
    struct pile touched; /* uint32_t: faces */
    struct pile stop;    /* struct stop, sorted */
    struct pile line;    /* struct line, sorted by half-edge */
    struct pile bound;   /* struct bound */
    struct pile near;    /* uint32_t: faces that reach into the other's box */
    struct vec min, max; /* its box */
};

struct made_triangle {
    uint32_t v[3]; /* refs, as in the result */
    uint32_t face;
    uint8_t side;
    bool whole; /* an untouched face, taken along; given back when it stays as it is */
};

struct made_copy { /* a vertex doubled */
    uint32_t of;   /* ref */
};

struct joint {
    struct solid side[2];
    enum boolean_kind kind;
    struct job *job;
    struct boolean_report report;
    struct pile pair;    /* uint32_t[2]: faces that may meet */
    struct pile node;    /* struct node */
    struct pile seam;    /* struct seam */
    struct pile overlap; /* struct overlap */
    struct lookup node_at, overlap_at;
    struct pile made;  /* struct made_triangle */
    struct pile place; /* struct point: of the nodes, then of the copies */
    struct pile copy;  /* struct made_copy */
    double grain;      /* mm: the spacing of single precision at the largest coordinate */
};

static inline struct node *joint_node(const struct joint *j, uint32_t i)
{
    return PILE(j->node, struct node) + i;
}
static inline struct vec solid_at(const struct solid *s, uint32_t vertex)
{
    return point_vec(s->point[vertex]);
}
static inline void solid_face(const struct solid *s, uint32_t face, struct vec corner[3])
{
    for (int k = 0; k < 3; k++)
        corner[k] = solid_at(s, s->triangle[face].v[k]);
}
/* Of a half-edge: the lower of the two that make the edge. */
static inline uint32_t solid_edge(const struct solid *s, uint32_t half)
{
    uint32_t twin = s->topology->twin[half];
    return twin < half ? twin : half;
}
static inline uint32_t solid_from(const struct solid *s, uint32_t half)
{
    return half_from(s->triangle, half);
}
static inline uint32_t solid_to(const struct solid *s, uint32_t half)
{
    return half_to(s->triangle, half);
}
/* The node that a vertex is, or NO_INDEX. */
static inline uint32_t solid_node(const struct solid *s, uint32_t vertex)
{
    return s->node_after[vertex] - 1;
}
/* The ref of a vertex of side s. */
static inline uint32_t joint_ref(const struct joint *j, int s, uint32_t vertex)
{
    uint32_t node = solid_node(&j->side[s], vertex);
    return node == NO_INDEX ? j->side[s].base + vertex : joint_node(j, node)->ref;
}
static inline uint32_t joint_made_base(const struct joint *j)
{
    return j->side[1].base + (uint32_t)mesh_vertices(j->side[1].mesh);
}
/* The position of a ref, as it will be. */
struct point joint_point(const struct joint *j, uint32_t ref);

/* --- boolean_near.c: faces of either in the other's box --- */
enum status joint_near(struct joint *j);
/* The face that an item of near_tree is. */
static inline uint32_t solid_near_face(const struct solid *s, uint32_t item)
{
    return s->part ? PILE(s->near, uint32_t)[item] : item;
}

/* --- boolean_pairs.c: faces that may meet --- */
enum status joint_pairs(struct joint *j);

/* --- boolean_snap.c: vertices that nearly coincide --- */
/* Moves vertices of side 1 that lie within two units in the last place of one of side 0 onto it, so
 * that what rounding put there by chance is met exactly. *snapped: a new mesh, or NULL when nothing
 * moves. */
enum status joint_snap(const struct joint *j, struct mesh **snapped);

/* --- boolean_nodes.c: nodes, seams and overlaps --- */
enum status joint_nodes(struct joint *j);
/* A plane that meets the edge (of side s) in the node, which lies inside it. */
void node_plane(const struct joint *j, int s, uint32_t half, const struct node *node,
                struct vec plane[3]);

/* --- boolean_lines.c: edges of touched faces, cut into pieces; what is kept of each --- */
enum status joint_lines(struct joint *j);
enum status joint_bounds(struct joint *j);

/* --- boolean_overlaps.c: what is kept around each overlap --- */
void joint_overlaps(struct joint *j);
/* Whether the direction of p from the edge (a half-edge of solid `of`) lies inside it; UNKNOWN: in
 * one of its faces. */
enum fate edge_fate(const struct solid *of, uint32_t half, struct vec p);

/* --- boolean_inside.c: what lies inside --- */
/* How often the surface winds around p, or around the point next to it on the way to `toward`
 * (NULL: p itself, which is not on the surface). */
int solid_winding(struct solid *s, struct vec p, const struct vec *toward);
/* Of a vertex that is no node. */
enum fate joint_vertex_fate(struct joint *j, int s, uint32_t vertex);
/* Every face near the other solid. */
enum status joint_fates(struct joint *j);

/* --- boolean_faces.c: what is kept of the touched faces as triangles --- */
enum status joint_faces(struct joint *j);
/* STATUS_REFUSED: the face crosses others of its own mesh. */
enum status joint_crossed(const struct joint *j, int s, uint32_t face);

/* --- boolean_part.c: what touches in vertices or edges only, parted --- */
enum status joint_part(struct joint *j);
/* Takes along the untouched faces around a vertex of side s, or one of them. */
enum status joint_take_around(struct joint *j, int s, uint32_t vertex);
enum status joint_take(struct joint *j, int s, uint32_t face);
/* A vertex like `ref` at another place. */
enum status joint_copy(struct joint *j, uint32_t ref, struct point place, uint32_t *copy);

/* --- boolean_mend.c: what rounding did, mended --- */
enum status joint_mend(struct joint *j);
/* STATUS_REFUSED with the place when faces that were cut cross others of their own mesh. */
enum status joint_own_crossings(const struct joint *j);

/* --- boolean_assemble.c: the result --- */
enum status joint_assemble(struct joint *j, struct mesh **out);

/* Whether the face of side s that nothing touched is in the result. */
static inline bool joint_keeps(const struct joint *j, int s, uint32_t face)
{
    enum fate fate = j->side[s].face_fate[face];
    return (fate == UNKNOWN ? OUTSIDE : fate) == j->side[s].wanted;
}
static inline bool joint_turns(const struct joint *j, int s)
{
    return s == 1 && j->kind == BOOLEAN_SUBTRACT;
}

#endif
