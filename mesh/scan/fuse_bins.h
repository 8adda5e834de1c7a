/* The samples around one block of the grid, for many questions about what is near. */
#ifndef FETTLE_SCAN_FUSE_BINS_H
#define FETTLE_SCAN_FUSE_BINS_H

#include "scan/fuse_grid.h"

struct fuse_close { /* a sample near a place */
    float x, y, z;  /* beside it; or in a frame of its own */
    float weight;   /* its word, falling to 0 at the reach */
    uint32_t at;    /* in bins->sample */
};

enum { BINS_MOST = 40 };

struct bins { /* one a thread */
    const struct grid *grid;
    struct gathered near;
    struct fuse_sample *sample; /* those gathered, bin by bin */
    uint32_t *number;           /* of each: which of all samples it is */
    struct fuse_close *close;   /* room for as many */
    size_t room;
    float reach, bin, low[3]; /* mm; bins begin at low */
    int bins;                 /* along each axis */
    uint32_t start[BINS_MOST * BINS_MOST * BINS_MOST + 1];
};

/* Bins for questions up to `reach` mm away. NULL when out of memory. */
struct bins *bins_new(const struct grid *grid, float reach);
void bins_free(struct bins *bins);

/* Fills them with the samples around a block. False when out of memory. */
bool bins_fill(struct bins *bins, size_t block);

/* Lists the samples within reach of a place in the block or a step beside it into bins->close;
 * returns how many. *nearest: the nearest (in bins->sample), those of little weight being held
 * back; *nearest2: its squared distance. */
size_t bins_near(struct bins *bins, const float at[3], uint32_t *nearest, float *nearest2);

static inline float bins_facing(const struct fuse_sample *s, const float n[3])
{
    return s->normal[0] * n[0] + s->normal[1] * n[1] + s->normal[2] * n[2];
}

static inline void floats_of(float out[3], struct vec a)
{
    out[0] = (float)a.x;
    out[1] = (float)a.y;
    out[2] = (float)a.z;
}

#endif
