/* The surface as a net: a vertex in each cell that it passes, a quad about each edge of the grid
 * that it crosses (Gibson 1998, "Constrained Elastic Surface Nets"). With well-composed signs the
 * net is a manifold, and with all vertices in the middles of their cells it does not cross itself:
 * it is then the border of the boxes about the nodes inside. */
#ifndef FETTLE_CORE_NET_H
#define FETTLE_CORE_NET_H

#include "core/grid.h"

struct net_block { /* which cells of a block have a vertex, and the number of the first */
    uint64_t bits[BLOCK_CELLS / 64];
    uint32_t base, quads; /* how many quads stand before this block's */
};

enum { LINKS = 6 };

struct net {
    const struct grid *grid;
    struct net_block *block; /* one a block of the grid, and one behind the last */
    size_t vertices, quads;
    node_id *cell;           /* one a vertex */
    struct point *at;        /* beside the grid's origin */
    struct point *normal;    /* the maker's */
    uint8_t (*colour)[4];    /* the maker's; NULL: none */
    uint8_t *trust;          /* the maker's: enum trust */
    uint8_t *sharp;          /* the maker's: how many faces meet there, or 0 */
    uint32_t (*link)[LINKS]; /* the vertices of the cells beside it across -x +x -y +y -z +z, or
                                NO_INDEX: the net's threads */
    uint32_t (*quad)[4];     /* counter-clockwise from outside */
};

enum trust {
    TRUST_NONE, /* no sample near: invented */
    TRUST_MEASURED,
    TRUST_COLOURED /* measured, and with a colour */
};

/* The net through the active cells, nothing of the maker's filled; `coloured`: with room for
 * colours. Without quads when no cell is active. On failure nothing is owned. */
enum status net_make(const struct grid *grid, bool coloured, struct net *out, struct job *job);
void net_release(struct net *net);

/* Draws each vertex halfway to the mean of those it is linked to, so many times. Vertices for which
 * still[] is not 0 stay (NULL: all move). */
enum status net_relax(struct net *net, int passes, const uint8_t *still, struct job *job);

/* The net's quads cut along their shorter diagonals, or where they are sharp: two triangles a quad,
 * in their order, without attributes, beside an origin; marked as joined. The same whole surface
 * however the vertices move afterwards. NULL on failure. */
struct mesh *mesh_of_net(const struct net *net, const double origin[3], struct job *job);

/* Puts the vertices of a mesh of the net where the net's are now, beside the mesh's own origin. */
void net_places(const struct net *net, struct mesh *mesh);

/* The vertex of a cell (or of NO_NODE), NO_INDEX when it has none. */
uint32_t net_vertex(const struct net *net, node_id cell);

/* The middle of a vertex's cell. */
struct vec net_middle(const struct net *net, size_t v);

#endif
