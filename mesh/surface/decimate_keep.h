/* Keeping what a decimation promises: that the new surface does not cross itself where the old one
 * did not, and a tolerance if there is one. It is looked for what breaks the promise, and there
 * collapses are undone until nothing does; in the end the old surface would be back.
 *
 * Measured: 389 936 triangles of a scan within 0.05 mm became 67 090, of which 82 (and 49 old ones)
 * broke the tolerance; one round left 3 of 69 498, the second none of 69 558. */
#ifndef FETTLE_SURFACE_DECIMATE_KEEP_H
#define FETTLE_SURFACE_DECIMATE_KEEP_H

#include "core/mesh.h"
#include "surface/decimate_trail.h"

enum keep_mark {
    KEEP_TOUCHED = 1, /* something was undone around */
    KEEP_WRONG = 2    /* there the promise was broken */
};

struct promise {
    const struct mesh *old; /* joined */
    double within;          /* mm: no place of either surface is farther from the other; 0: none */
    struct trail *trail;
    uint32_t *parent; /* one a vertex of the old mesh: the one it was merged into, or NO_INDEX */
    uint8_t *mark; /* one a vertex of the old mesh: what was done there (enum keep_mark); or NULL */
    /* when all was proved before and less has changed since: one a vertex of the old mesh, set at
     * all corners that may have been moved since, and one a triangle of it, by keep_scope */
    const uint8_t *fresh, *ask_old;
};

struct kept {              /* a new surface, of which the numbers in the old mesh are known */
    struct mesh *made;     /* no attributes; nobody else holds it */
    uint32_t *vertex_of;   /* one a vertex: which one of the old mesh it is, maybe moved; scratch */
    uint32_t *triangle_of; /* one a triangle: which old one it descends from; scratch */
};
void kept_release(struct kept *kept);

/* What must be proved again of the old surface when only vertices that fresh[] marks are going to
 * move: marks those old triangles in ask_old[]. */
enum status keep_scope(const struct promise *promise, const struct kept *kept, const uint8_t *fresh,
                       uint8_t *ask_old, struct job *job);

/* Makes the surface keep the promise; all of *kept is replaced if need be. It is left empty when
 * even the old surface, rounded, would not do. Same for any number of threads. */
enum status keep(const struct promise *promise, struct kept *kept, struct job *job);

#endif
