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

struct breach { /* a triangle that is not within the tolerance of the other surface as a whole */
    uint32_t triangle;
    struct vec at;   /* a place on it that is not, in local coordinates of the other mesh */
    double distance; /* of that place from the other surface, mm */
};

/* The same one way, for all triangles of `mesh` or only those that ask[] (one a triangle) marks:
 * *list has the breaches in order of triangle (scratch_free; NULL when there are none). Counts one
 * step a triangle; begins no phase of the job. */
enum status within_breaches(const struct mesh *mesh, const struct mesh *other, double tolerance,
                            const uint8_t *ask, struct breach **list, size_t *count,
                            struct job *job);

#endif
