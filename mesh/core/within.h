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

/* The same for triangles that are in no mesh, one after another: one prover a thread. It borrows
 * `other`, which must have triangles; NULL: out of memory or cancelled. */
struct prover;
struct prover *prover_new(const struct mesh *other, struct job *job);
void prover_free(struct prover *prover); /* NULL is allowed */

/* Whether all of a triangle (local to the other mesh) is within the tolerance; if not, *breach has
 * a place that is not. *guess: a triangle of the other mesh that may be near, or NO_INDEX; it
 * becomes one that was. */
bool prover_within(struct prover *prover, const struct vec corner[3], double tolerance,
                   uint32_t *guess, struct breach *breach);

/* A bound on how far the triangle is from the other surface anywhere, mm: `least` when it is
 * nowhere farther than that, else more than the farthest place by no more than `slack` and a
 * thousandth; *farthest is set only then, to that place. */
double prover_bound(struct prover *prover, const struct vec corner[3], double least, double slack,
                    uint32_t *guess, struct breach *farthest);

#endif
