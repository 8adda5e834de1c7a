/* The proof that two surfaces lie within a tolerance of one another. */
#ifndef FETTLE_CORE_WITHIN_H
#define FETTLE_CORE_WITHIN_H

#include "core/mesh.h"

struct proof {
    bool within;     /* true: every point of either surface is within the tolerance of the other */
    bool of_a;       /* when not: the place is on A (else on B), */
    struct vec at;   /* world, */
    double distance; /* and this far from the other surface, mm: more than 0.999 of the tolerance */
};

/* Proves that both surfaces lie within `tolerance` of one another (their Hausdorff distance is no
 * greater), for every point of them and not for samples; or finds a place that does not. Between
 * 0.999 and 1 of the tolerance it may say either. The proof allows for the rounding of coordinates
 * in double precision (1e-14 of the meshes' size), nothing else. Both must have triangles
 * (STATUS_REFUSED). Quick to say no; to say yes for 1 M against 100 k triangles takes about as long
 * as comparing them. */
enum status deviation_within(const struct mesh *a, const struct mesh *b, double tolerance,
                             struct proof *proof, struct job *job);

/* The same one way: marks with 1 in broken[] (one a triangle of `mesh`) every triangle that is not
 * within the tolerance of the other surface as a whole, and counts them. */
enum status within_mark(const struct mesh *mesh, const struct mesh *other, double tolerance,
                        uint8_t *broken, size_t *count, struct job *job);

#endif
