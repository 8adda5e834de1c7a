/* What all pieces measured, as one cloud of weighted samples in the order of a grid's cells. */
#ifndef FETTLE_SCAN_FUSE_SAMPLES_H
#define FETTLE_SCAN_FUSE_SAMPLES_H

#include "core/grid.h"
#include "scan/fuse_piece.h"

struct fuse_sample {
    float at[3];     /* beside the origin of all, mm */
    float normal[3]; /* unit */
    float weight;    /* of its word on position, about 1 */
    float area;      /* of surface it stands for, mm2 */
};

struct fuse_colour {
    uint8_t rgba[4];
    float weight; /* 0: its piece has no colour */
};

struct fuse_samples {
    double origin[3];
    float base[3], step;
    uint32_t blocks[3];     /* the grid is so many blocks long; samples stand well inside */
    double spacing;         /* wanted of the new vertices, mm */
    double scans;           /* the pieces' own: that of half the samples or more */
    double noise, least;    /* its deviation, mm; the finest spacing that it leaves sensible */
    double reach;           /* how far apart samples may stand and still make a surface, mm */
    size_t count, measured; /* measured: without those put into large triangles */
    struct fuse_sample *sample;
    struct fuse_colour *colour; /* NULL: no piece has any */
    uint8_t *mixed;             /* of each: 1: its normal says little */
    uint16_t *piece;            /* of each sample: its piece, counted from 0 */
    uint64_t *key;              /* of each sample's cell, ascending */
};

/* Gathers the samples of all pieces. Triangles larger than the grid get samples of their own.
 * `spacing` 0: the median of the pieces', or wider where noise asks for it. On failure nothing is owned; STATUS_REFUSED when there
 * are none, or the grid would be too large. */
enum { SAMPLES_PIECES_MOST = 1024 };
enum status fuse_samples_make(const struct fuse_piece *piece, size_t pieces, double spacing,
                              struct fuse_samples *out, struct job *job);

/* Frees what is held a sample, and keeps the frame; frees all. */
void fuse_samples_drop(struct fuse_samples *samples);
void fuse_samples_release(struct fuse_samples *samples);

#endif
