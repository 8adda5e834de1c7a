/* Half-edges sorted into buckets by a vertex: a parallel counting sort. */
#ifndef FETTLE_CORE_BUCKETS_H
#define FETTLE_CORE_BUCKETS_H

#include "core/mesh.h"

enum bucket_key {
    BUCKET_FROM, /* by the vertex the half-edge leaves: every half-edge, so every corner */
    BUCKET_LOWER /* by the lower of its two vertices: both sides of an edge meet in one bucket;
                    half-edges whose ends are the same vertex are left out */
};

struct buckets {
    uint32_t *start; /* vertices + 1: bucket v is half[start[v]] ... half[start[v + 1] - 1] */
    uint32_t *half;  /* half-edges 3 * triangle + corner, ascending inside each bucket */
};

/* Sorts the half-edges of the mesh. The caller releases; on failure nothing is owned. */
enum status buckets_make(const struct mesh *mesh, enum bucket_key key, struct buckets *out,
                         struct job *job);
void buckets_release(struct buckets *buckets);

#endif
