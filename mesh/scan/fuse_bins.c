#include "scan/fuse_bins.h"

#include <stdlib.h>
#include <string.h>

static int bin_along(const struct bins *w, float at, int d)
{
    int bin = (int)((at - w->low[d]) / w->bin);
    return bin < 0 ? 0 : bin >= w->bins ? w->bins - 1 : bin;
}

static int bin_of(const struct bins *w, const float at[3])
{
    return (bin_along(w, at[2], 2) * w->bins + bin_along(w, at[1], 1)) * w->bins +
           bin_along(w, at[0], 0);
}

static bool make_room(struct bins *w, size_t count)
{
    if (count <= w->room)
        return true;
    scratch_free(w->sample);
    scratch_free(w->number);
    scratch_free(w->close);
    w->room = count * 3 / 2;
    w->sample = scratch_new(w->room, sizeof *w->sample);
    w->number = scratch_new(w->room, sizeof *w->number);
    w->close = scratch_new(w->room, sizeof *w->close);
    if (w->sample && w->number && w->close)
        return true;
    w->room = 0;
    return false;
}

bool bins_fill(struct bins *w, size_t block)
{
    const struct fuse_samples *samples = grid_samples(w->grid);
    float around = w->reach + samples->step;
    struct vec corner = grid_place(w->grid, (node_id)block << 9);
    if (!grid_gather(w->grid, block, around, &w->near) || !make_room(w, w->near.count))
        return false;
    floats_of(w->low, vec_sub(corner, vec((double)around, (double)around, (double)around)));
    size_t all = (size_t)(w->bins * w->bins * w->bins);
    memset(w->start, 0, (all + 1) * sizeof *w->start);
    for (size_t i = 0; i < w->near.count; i++)
        w->start[bin_of(w, samples->sample[w->near.sample[i]].at) + 1]++;
    for (size_t b = 0; b < all; b++)
        w->start[b + 1] += w->start[b];
    for (size_t i = w->near.count; i-- > 0;) {
        const struct fuse_sample *s = &samples->sample[w->near.sample[i]];
        uint32_t at = --w->start[bin_of(w, s->at) + 1];
        w->sample[at] = *s;
        w->number[at] = w->near.sample[i];
    }
    /* each start now stands one bin late */
    memmove(w->start, w->start + 1, all * sizeof *w->start);
    w->start[all] = (uint32_t)w->near.count;
    return true;
}

size_t bins_near(struct bins *w, const float place[3], uint32_t *nearest, float *nearest2)
{
    float reach2 = w->reach * w->reach, best = INFINITY;
    int from[3], end[3];
    size_t count = 0;
    for (int d = 0; d < 3; d++) {
        from[d] = bin_along(w, place[d] - w->reach, d);
        end[d] = bin_along(w, place[d] + w->reach, d);
    }
    for (int k = from[2]; k <= end[2]; k++)
        for (int j = from[1]; j <= end[1]; j++) {
            int row = (k * w->bins + j) * w->bins;
            for (uint32_t i = w->start[row + from[0]]; i < w->start[row + end[0] + 1]; i++) {
                const struct fuse_sample *s = w->sample + i;
                float x = s->at[0] - place[0], y = s->at[1] - place[1], z = s->at[2] - place[2];
                float d2 = x * x + y * y + z * z;
                if (d2 >= reach2)
                    continue;
                float near = 1 - d2 / reach2, held = d2 * (2 - fminf(s->weight, 1));
                w->close[count++] = (struct fuse_close){x, y, z, near * near * s->weight, i};
                if (held < best) {
                    best = held;
                    *nearest = i;
                    *nearest2 = d2;
                }
            }
        }
    return count;
}

void bins_free(struct bins *w)
{
    if (!w)
        return;
    free(w->near.sample);
    scratch_free(w->sample);
    scratch_free(w->number);
    scratch_free(w->close);
    scratch_free(w);
}

struct bins *bins_new(const struct grid *grid, float reach)
{
    struct bins *w = scratch_new(1, sizeof *w);
    if (!w)
        return NULL;
    *w = (struct bins){.grid = grid, .reach = reach};
    float step = grid->frame.step, wide = BLOCK_SIDE * step + 2 * (w->reach + step);
    w->bin = fmaxf(w->reach / 2, wide / (BINS_MOST - 1));
    w->bins = (int)(wide / w->bin) + 1;
    return w;
}
