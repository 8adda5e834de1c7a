/* A sparse grid: blocks of nodes where a surface may be near, or where it was followed to. */
#ifndef FETTLE_CORE_GRID_H
#define FETTLE_CORE_GRID_H

#include "core/mesh.h"

/* The grid: node i, j, k is at base + step * (i, j, k); cell i, j, k has it as its lowest corner.
 * 8 x 8 x 8 nodes (and cells) make a block. Keys interleave the bits of i, j, k (Morton 1966), so
 * what lies in one block stands together. Indices run from 0 to GRID_MOST - 1. */
enum { GRID_BITS = 21, GRID_MOST = 1 << GRID_BITS, BLOCK_SIDE = 8, BLOCK_CELLS = 512 };

struct grid_frame {
    double origin[3]; /* what all else is beside, mm */
    float base[3], step;
    uint32_t blocks[3]; /* it is so many blocks long; the surface stands well inside */
};

enum node_state {
    NODE_KNOWN = 1,   /* it has a value */
    NODE_DATA = 2,    /* from what is near, and not only followed to */
    NODE_INSIDE = 4,  /* its value is negative, or was made so */
    CELL_ACTIVE = 8,  /* of the cell whose lowest corner it is: the surface passes, and is wanted */
    CELL_MARKED = 16, /* the same: it stands in a list */
    CELL_KEPT = 32,   /* the maker's: no handle that passes there is tried again */
    NODE_TURNED = 64  /* it was made to be inside, whatever its value was */
};

struct grid_block {
    uint64_t key;        /* of its first cell, without the last nine bits */
    uint32_t first, end; /* what of its own the maker has there */
    uint32_t near[27];   /* the blocks around, [9 (dz+1) + 3 (dy+1) + dx+1]; NO_INDEX: none there */
};

struct grid_nodes {
    float value[BLOCK_CELLS]; /* [64 k + 8 j + i]; about the distance from the surface, mm; negative
                                 inside */
    uint8_t state[BLOCK_CELLS];
};

struct grid {
    struct grid_frame frame;
    const void *of; /* what its maker made it of */
    struct array *block,
        *nodes; /* struct grid_block, struct grid_nodes; room for more than count */
    size_t count;
    uint32_t *table; /* hash of keys to blocks, open addressing */
    size_t capacity;
};

static inline struct grid_block *grid_block(const struct grid *grid, size_t b)
{
    return (struct grid_block *)grid->block->data + b;
}
static inline struct grid_nodes *grid_nodes(const struct grid *grid, size_t b)
{
    return (struct grid_nodes *)grid->nodes->data + b;
}

/* A node (and the cell it is the lowest corner of): block << 9 | place. */
typedef uint64_t node_id;
#define NO_NODE UINT64_MAX

static inline uint8_t *node_state(const struct grid *grid, node_id id)
{
    return &grid_nodes(grid, id >> 9)->state[id & 511];
}
static inline float *node_value(const struct grid *grid, node_id id)
{
    return &grid_nodes(grid, id >> 9)->value[id & 511];
}

/* The node so many steps (-8 to 8) from another; NO_NODE when its block is not there. */
node_id grid_beside(const struct grid *grid, node_id id, int di, int dj, int dk);

/* The same, its block made when there is none. NO_NODE: out of memory, or beyond the grid. */
node_id grid_reach(struct grid *grid, node_id id, int di, int dj, int dk);

/* The node with these indices (below GRID_MOST); NO_NODE when its block is not there. */
node_id grid_find(const struct grid *grid, uint32_t i, uint32_t j, uint32_t k);

/* Its indices; a box of them, both ends within. */
void grid_indices(const struct grid *grid, node_id id, uint32_t out[3]);
struct grid_box {
    uint32_t low[3], high[3];
};

static inline bool grid_box_holds(const struct grid_box *box, const uint32_t at[3])
{
    bool in = true;
    for (int d = 0; d < 3; d++)
        in = in && at[d] >= box->low[d] && at[d] <= box->high[d];
    return in;
}

/* Where a node is, beside the frame's origin; where its block's first is. */
struct vec grid_place(const struct grid *grid, node_id id);

/* A grid without blocks; `of` is borrowed. Room for so many before it grows. On failure nothing is
 * owned. */
enum status grid_begin(const struct grid_frame *frame, const void *of, size_t room,
                       struct grid *out, struct job *job);
void grid_release(struct grid *grid);

uint64_t grid_key(uint32_t i, uint32_t j, uint32_t k);
void grid_index(uint64_t key, uint32_t index[3]);

/* The block with the key, made (nodes without state) when there is none; NO_INDEX: out of memory.
 */
uint32_t grid_add(struct grid *grid, uint64_t key);

/* Frees the nodes, and keeps the blocks. */
void grid_drop_nodes(struct grid *grid);

/* Corner c of a cell: 1, 2, 4 say whether it is one step on along x, y, z. */
static inline int corner_step(int c, int d)
{
    return c >> d & 1;
}

/* The eight corners of a cell; those whose block is missing are NO_NODE. */
static inline void cell_corners(const struct grid *grid, node_id cell, node_id corner[8])
{
    for (int c = 0; c < 8; c++)
        corner[c] = grid_beside(grid, cell, c & 1, c >> 1 & 1, c >> 2);
}

#endif
