#include "scan/fuse_grid.h"

#include <stdlib.h>

#include "core/job.h"

enum { SIDES = 27 };

/* --- making ---------------------------------------------------------------------------------- */

/* Which blocks around (bits of near[]) lie within reach of a sample. */
static uint32_t reached(const struct grid *grid, size_t b, uint32_t sample, float reach)
{
    struct vec corner = grid_place(grid, (node_id)b << 9);
    const double low[3] = {corner.x, corner.y, corner.z};
    double away[3][3], side = BLOCK_SIDE * (double)grid->frame.step;
    uint32_t bits = 0;
    for (int d = 0; d < 3; d++) {
        double in = (double)grid_samples(grid)->sample[sample].at[d] - low[d];
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
    const struct fuse_samples *samples = grid_samples(grid);
    for (size_t i = 0, end; i < samples->count && !job_cancelled(job); i = end) {
        for (end = i; end < samples->count && samples->key[end] >> 9 == samples->key[i] >> 9;)
            end++;
        uint32_t b = grid_add(grid, samples->key[i] >> 9);
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
    struct grid_frame frame = {.step = samples->step};
    for (int d = 0; d < 3; d++) {
        frame.origin[d] = samples->origin[d];
        frame.base[d] = samples->base[d];
        frame.blocks[d] = samples->blocks[d];
    }
    size_t room = samples->count / 32 + 64;
    enum status status = grid_begin(&frame, samples, room, out, job);
    if (status != STATUS_OK)
        return status;
    if (!add_filled(out, job) || !add_reached(out, reach, job))
        status = job_fail_memory(job, room * sizeof(struct grid_nodes));
    else if (job_cancelled(job))
        status = job_fail_cancelled(job);
    if (status != STATUS_OK)
        grid_release(out);
    return status;
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
    float side = BLOCK_SIDE * grid->frame.step;
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
            const float *at = grid_samples(grid)->sample[i].at;
            bool in = true;
            for (int d = 0; d < 3; d++)
                in = in && at[d] >= low[d] && at[d] <= low[d] + wide;
            out->sample[out->count] = i;
            out->count += in;
        }
    }
    return true;
}
