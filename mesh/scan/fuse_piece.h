/* What fusing knows of one piece. */
#ifndef FETTLE_SCAN_FUSE_PIECE_H
#define FETTLE_SCAN_FUSE_PIECE_H

#include "core/mesh.h"

struct fuse_piece {
    struct mesh *mesh;    /* joined, without triangles across jumps of depth */
    struct point *normal; /* one a vertex, zero where there is none */
    float *weight;        /* one a vertex: by rim, view and confidence, about 1 */
    float *square;        /* how squarely it was seen, 0 to 1 */
    uint8_t *mixed;    /* 1: the triangles around face so differently that their mean says little */
    double spacing;    /* median distance of neighbouring samples, mm; 0: no two */
    double noise;      /* across the surface, standard deviation, mm */
    struct vec view;   /* from the surface towards the scanner, about; unit */
    double one_sided;  /* 0: seen from all round (the view says nothing), to 1 */
    double confidence; /* the mean of its vertices' attribute, by which weights are divided; 0:
                          it has none */
    size_t jumps;      /* triangles left out */
};

/* Joins, weighs and measures it. A piece without vertices is allowed. On failure nothing is owned.
 *
 * The scanner's place is not in the file: its direction is taken to be the mean of the normals, the
 * more so the more they agree. Weight: the cosine to that (Curless & Levoy 1996); less within three
 * edges of a rim, where scanners err most; and the attribute confidence beside its mean (of the
 * piece; other pieces are up to the caller). */
enum status fuse_piece_make(const struct mesh *mesh, struct fuse_piece *out, struct job *job);
void fuse_piece_release(struct fuse_piece *piece);

#endif
