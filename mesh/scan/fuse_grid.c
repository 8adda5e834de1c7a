#include "scan/fuse_grid.h"

#include <stdlib.h>
#include <string.h>

#include "core/job.h"

enum { TABLE_LEAST = 1024, SIDES = 27, MIDDLE = 13 };

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
static uint32_t add_block(struct grid *grid, uint64_t key)
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
        b = add_block(grid, grid_key(at[0], at[1], at[2]));
    } else if (side != MIDDLE) {
        b = grid_block(grid, b)->near[side];
    }
    return b == NO_INDEX ? NO_NODE : (node_id)b << 9 | place;
}

struct vec grid_place(const struct grid *grid, node_id id)
{
    uint32_t at[3];
    grid_index(grid_block(grid, id >> 9)->key, at);
    const struct fuse_samples *s = grid->samples;
    double step = (double)s->step, p[3];
    for (int d = 0; d < 3; d++)
        p[d] = (double)s->base[d] + step * (double)(8 * at[d] + (id >> 3 * d & 7));
    return vec(p[0], p[1], p[2]);
}

/* --- making ---------------------------------------------------------------------------------- */

/* Which blocks around (bits of near[]) lie within reach of a sample. */
static uint32_t reached(const struct grid *grid, size_t b, uint32_t sample, float reach)
{
    struct vec corner = grid_place(grid, (node_id)b << 9);
    const double low[3] = {corner.x, corner.y, corner.z};
    double away[3][3], side = BLOCK_SIDE * (double)grid->samples->step;
    uint32_t bits = 0;
    for (int d = 0; d < 3; d++) {
        double in = (double)grid->samples->sample[sample].at[d] - low[d];
        away[d][0] = fmax(in, 0) * fmax(in, 0);
        away[d][1] = 0;
        away[d][2] = fmax(side - in, 0) * fmax(side - in, 0);
    }
    double reach2 = (double)reach * (double)reach;
    for (int s = 0; s < SIDES; s++)
        if (away[0][s % 3] + away[1][s / 3 % 3] + away[2][s / 9] < reach2)
            bits |= 1u << s;
    return bits;
}

/* Blocks that hold samples, in their order. */
static bool add_filled(struct grid *grid, const struct job *job)
{
    const struct fuse_samples *samples = grid->samples;
    for (size_t i = 0, end; i < samples->count && !job_cancelled(job); i = end) {
        for (end = i; end < samples->count && samples->key[end] >> 9 == samples->key[i] >> 9;)
            end++;
        uint32_t b = add_block(grid, samples->key[i] >> 9);
        if (b == NO_INDEX)
            return false;
        grid_block(grid, b)->first = (uint32_t)i;
        grid_block(grid, b)->end = (uint32_t)end;
    }
    return true;
}

/* Blocks that samples in others reach. */
static bool add_reached(struct grid *grid, float reach, const struct job *job)
{
    size_t filled = grid->count;
    uint32_t *bits = scratch_new(filled, sizeof *bits);
    if (!bits)
        return false;
#pragma omp parallel for num_threads(job_threads(job)) schedule(dynamic, 16)
    for (size_t b = 0; b < filled; b++) {
        bits[b] = 0;
        for (uint32_t i = grid_block(grid, b)->first; i < grid_block(grid, b)->end; i++)
            if (!job_cancelled(job))
                bits[b] |= reached(grid, b, i, reach);
    }
    bool ok = true;
    for (size_t b = 0; b < filled && ok; b++)
        for (int s = 0; s < SIDES && ok; s++)
            if (bits[b] >> s & 1)
                ok = grid_reach(grid, (node_id)b << 9, 8 * (s % 3 - 1), 8 * (s / 3 % 3 - 1),
                                8 * (s / 9 - 1)) != NO_NODE;
    scratch_free(bits);
    return ok;
}

enum status grid_make(const struct fuse_samples *samples, float reach, struct grid *out,
                      struct job *job)
{
    *out = (struct grid){.samples = samples};
    size_t room = samples->count / 32 + 64;
    out->block = array_new(room, sizeof(struct grid_block));
    out->nodes = array_new(room, sizeof(struct grid_nodes));
    bool ok = out->block && out->nodes && table_grow(out, room) && add_filled(out, job) &&
              add_reached(out, reach, job);
    enum status status = STATUS_OK;
    if (!ok)
        status = job_fail_memory(job, room * sizeof(struct grid_nodes));
    else if (job_cancelled(job))
        status = job_fail_cancelled(job);
    if (status != STATUS_OK)
        grid_release(out);
    return status;
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

/* --- gathering ------------------------------------------------------------------------------- */

static bool room_for(struct gathered *g, size_t more)
{
    if (g->count + more <= g->room)
        return true;
    size_t room = (g->count + more) * 3 / 2;
    uint32_t *grown = realloc(g->sample, room * sizeof *grown);
    if (!grown)
        return false;
    g->sample = grown;
    g->room = room;
    return true;
}

bool grid_gather(const struct grid *grid, size_t block, float reach, struct gathered *out)
{
    struct vec corner = grid_place(grid, (node_id)block << 9);
    float side = BLOCK_SIDE * grid->samples->step;
    float low[3] = {(float)corner.x - reach, (float)corner.y - reach, (float)corner.z - reach};
    float wide = side + 2 * reach;
    out->count = 0;
    for (int s = 0; s < SIDES; s++) {
        uint32_t near = grid_block(grid, block)->near[s];
        if (near == NO_INDEX)
            continue;
        uint32_t first = grid_block(grid, near)->first, end = grid_block(grid, near)->end;
        if (!room_for(out, end - first))
            return false;
        for (uint32_t i = first; i < end; i++) {
            const float *at = grid->samples->sample[i].at;
            bool in = true;
            for (int d = 0; d < 3; d++)
                in = in && at[d] >= low[d] && at[d] <= low[d] + wide;
            out->sample[out->count] = i;
            out->count += in;
        }
    }
    return true;
}
