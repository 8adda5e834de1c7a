/* The pieces as fusing takes them: one part each, or, where a piece is several scans that were put
 * into one file, a part for each of its shells. */
#ifndef FETTLE_SCAN_FUSE_PARTS_H
#define FETTLE_SCAN_FUSE_PARTS_H

#include "scan/fuse_piece.h"

struct fuse_parts {
    struct fuse_piece *part;
    uint32_t *of;    /* the piece of each, */
    size_t *samples; /* and its vertices */
    size_t count, room;
    size_t jumps;    /* triangles left out of all */
    size_t invented; /* triangles that were marked so already, left out too */
};

/* Weighs the pieces, without what is marked as invented in them (STATUS_REFUSED: that is all). One
 * that faces all round and whose triangles hang together in several large bits is several range
 * images in one: each is weighed by its own view and rim, loses its own jumps of depth, and may be
 * the only one that faces the wrong way. Small bits stay together. Released by fuse_parts_release
 * whatever is returned. */
enum status fuse_parts_make(const struct mesh *const *piece, size_t pieces, struct fuse_parts *out,
                            struct job *job);

/* Frees what is known of the parts, and keeps which piece they are of; frees all. */
void fuse_parts_drop(struct fuse_parts *parts);
void fuse_parts_release(struct fuse_parts *parts);

#endif
