#include "core/grid.h"

#include <string.h>

#include "core/job.h"

enum { TABLE_LEAST = 1024, SIDES = 27, MIDDLE = 13 };

/* --- keys ------------------------------------------------------------------------------------ */

static uint64_t spread_bits(uint64_t x)
{
    x = (x | x << 32) & 0x1F00000000FFFFull;
    x = (x | x << 16) & 0x1F0000FF0000FFull;
    x = (x | x << 8) & 0x100F00F00F00F00Full;
    x = (x | x << 4) & 0x10C30C30C30C30C3ull;
    return (x | x << 2) & 0x1249249249249249ull;
}

static uint32_t join_bits(uint64_t x)
{
    x &= 0x1249249249249249ull;
    x = (x | x >> 2) & 0x10C30C30C30C30C3ull;
    x = (x | x >> 4) & 0x100F00F00F00F00Full;
    x = (x | x >> 8) & 0x1F0000FF0000FFull;
    x = (x | x >> 16) & 0x1F00000000FFFFull;
    return (uint32_t)(x | x >> 32) & (GRID_MOST - 1);
}

uint64_t grid_key(uint32_t i, uint32_t j, uint32_t k)
{
    return spread_bits(i) | spread_bits(j) << 1 | spread_bits(k) << 2;
}

void grid_index(uint64_t key, uint32_t index[3])
{
    for (int d = 0; d < 3; d++)
        index[d] = join_bits(key >> d);
}

/* --- the table ------------------------------------------------------------------------------- */

static size_t slot_of(const struct grid *grid, uint64_t key)
{
    size_t slot = (size_t)(key * 0x9E3779B97F4A7C15ull >> 20) & (grid->capacity - 1);
    while (grid->table[slot] != NO_INDEX && grid_block(grid, grid->table[slot])->key != key)
        slot = (slot + 1) & (grid->capacity - 1);
    return slot;
}

static bool table_grow(struct grid *grid, size_t blocks)
{
    size_t capacity = grid->capacity ? grid->capacity : TABLE_LEAST;
    while (capacity < 2 * blocks + 2)
        capacity *= 2;
    if (capacity == grid->capacity)
        return true;
    uint32_t *table = scratch_new(capacity, sizeof *table);
    if (!table)
        return false;
    memset(table, 255, capacity * sizeof *table);
    scratch_free(grid->table);
    grid->table = table;
    grid->capacity = capacity;
    for (size_t b = 0; b < grid->count; b++)
        table[slot_of(grid, grid_block(grid, b)->key)] = (uint32_t)b;
    return true;
}

static bool arrays_grow(struct grid *grid, size_t blocks)
{
    if (blocks <= grid->block->count && blocks <= grid->nodes->count)
        return true;
    size_t room = blocks + blocks / 2 + 16;
    return array_grow(grid->block, room) && array_grow(grid->nodes, room);
}

/* The block at the place, each index a block's; NO_INDEX when there is none. */
static uint32_t find_block(const struct grid *grid, const uint32_t at[3])
{
    return grid->table[slot_of(grid, grid_key(at[0], at[1], at[2]))];
}

static void link_block(struct grid *grid, uint32_t b)
{
    struct grid_block *block = grid_block(grid, b);
    uint32_t at[3];
    grid_index(block->key, at);
    for (uint32_t side = 0; side < SIDES; side++) {
        const uint32_t other[3] = {at[0] + side % 3 - 1, at[1] + side / 3 % 3 - 1,
                                   at[2] + side / 9 - 1};
        uint32_t near = NO_INDEX;
        if (other[0] < GRID_MOST / 8 && other[1] < GRID_MOST / 8 && other[2] < GRID_MOST / 8)
            near = find_block(grid, other);
        block->near[side] = near;
        if (near != NO_INDEX)
            grid_block(grid, near)->near[SIDES - 1 - side] = b;
    }
}

/* The block with the key, made when there is none; NO_INDEX: out of memory. */
uint32_t grid_add(struct grid *grid, uint64_t key)
{
    size_t slot = slot_of(grid, key);
    if (grid->table[slot] != NO_INDEX)
        return grid->table[slot];
    if (!table_grow(grid, grid->count + 1) || !arrays_grow(grid, grid->count + 1))
        return NO_INDEX;
    uint32_t b = (uint32_t)grid->count++;
    *grid_block(grid, b) = (struct grid_block){.key = key};
    memset(grid_nodes(grid, b), 0, sizeof(struct grid_nodes));
    grid->table[slot_of(grid, key)] = b;
    link_block(grid, b);
    return b;
}

/* --- nodes ----------------------------------------------------------------------------------- */

/* Moves along by steps of -8 to 8: the new place, and which way the block's border was crossed. */
static inline uint32_t walk(node_id id, int di, int dj, int dk, int *side)
{
    int i = (int)(id & 7) + di, j = (int)(id >> 3 & 7) + dj, k = (int)(id >> 6 & 7) + dk;
    *side = MIDDLE + (i >> 3) + 3 * (j >> 3) + 9 * (k >> 3);
    return (uint32_t)((i & 7) | (j & 7) << 3 | (k & 7) << 6);
}

node_id grid_beside(const struct grid *grid, node_id id, int di, int dj, int dk)
{
    int side;
    uint32_t place = walk(id, di, dj, dk, &side);
    if (side == MIDDLE)
        return (id & ~(node_id)511) | place;
    uint32_t b = grid_block(grid, id >> 9)->near[side];
    return b == NO_INDEX ? NO_NODE : (node_id)b << 9 | place;
}

node_id grid_reach(struct grid *grid, node_id id, int di, int dj, int dk)
{
    int side;
    uint32_t place = walk(id, di, dj, dk, &side), b = (uint32_t)(id >> 9), at[3];
    if (side != MIDDLE && grid_block(grid, b)->near[side] == NO_INDEX) {
        grid_index(grid_block(grid, b)->key, at);
        for (int d = 0, s = side; d < 3; d++, s /= 3)
            at[d] += (uint32_t)(s % 3) - 1;
        if (at[0] >= GRID_MOST / 8 || at[1] >= GRID_MOST / 8 || at[2] >= GRID_MOST / 8)
            return NO_NODE;
        b = grid_add(grid, grid_key(at[0], at[1], at[2]));
    } else if (side != MIDDLE) {
        b = grid_block(grid, b)->near[side];
    }
    return b == NO_INDEX ? NO_NODE : (node_id)b << 9 | place;
}

node_id grid_find(const struct grid *grid, uint32_t i, uint32_t j, uint32_t k)
{
    const uint32_t at[3] = {i >> 3, j >> 3, k >> 3};
    uint32_t b = find_block(grid, at);
    return b == NO_INDEX ? NO_NODE : (node_id)b << 9 | (k & 7) << 6 | (j & 7) << 3 | (i & 7);
}

void grid_indices(const struct grid *grid, node_id id, uint32_t out[3])
{
    grid_index(grid_block(grid, id >> 9)->key, out);
    for (int d = 0; d < 3; d++)
        out[d] = 8 * out[d] + (uint32_t)(id >> 3 * d & 7);
}

struct vec grid_place(const struct grid *grid, node_id id)
{
    uint32_t at[3];
    grid_index(grid_block(grid, id >> 9)->key, at);
    const struct grid_frame *f = &grid->frame;
    double step = (double)f->step, p[3];
    for (int d = 0; d < 3; d++)
        p[d] = (double)f->base[d] + step * (double)(8 * at[d] + (id >> 3 * d & 7));
    return vec(p[0], p[1], p[2]);
}

/* --- making ---------------------------------------------------------------------------------- */

enum status grid_begin(const struct grid_frame *frame, const void *of, size_t room,
                       struct grid *out, struct job *job)
{
    *out = (struct grid){.frame = *frame, .of = of};
    out->block = array_new(room, sizeof(struct grid_block));
    out->nodes = array_new(room, sizeof(struct grid_nodes));
    if (out->block && out->nodes && table_grow(out, room))
        return STATUS_OK;
    grid_release(out);
    return job_fail_memory(job, room * sizeof(struct grid_nodes));
}

void grid_drop_nodes(struct grid *grid)
{
    array_free(grid->nodes);
    grid->nodes = NULL;
}

void grid_release(struct grid *grid)
{
    array_free(grid->block);
    array_free(grid->nodes);
    scratch_free(grid->table);
    *grid = (struct grid){0};
}
