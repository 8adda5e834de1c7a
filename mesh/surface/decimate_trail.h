/* The trail of a decimation: what each collapse did, so that it can be undone later, anywhere, by
 * undoing before it only those later collapses that touched the same triangles. Undoing enough
 * gives the original back, bit for bit.
 *
 * About 130 bytes a collapse, 65 a triangle of the original. */
#ifndef FETTLE_SURFACE_DECIMATE_TRAIL_H
#define FETTLE_SURFACE_DECIMATE_TRAIL_H

#include "surface/decimate_star.h"

struct job;

struct trail_part { /* of one patch: records in the patch's own numbers */
    uint32_t *word;
    size_t count, room;
    bool short_of_memory; /* then there is no room for any more */
};

struct trail { /* of all, in the numbers of the original */
    uint32_t *word;
    size_t words, room;
    size_t *start; /* record i begins at word[start[i]] */
    size_t records, records_room, undone;
    uint32_t
        *last; /* one a triangle of the original: the last record that touched it, or NO_INDEX */
};

void trail_part_release(struct trail_part *part);

/* Room for the collapse of a star; false when there is none. Then, before star_collapse, its
 * record. */
bool trail_part_reserve(struct trail_part *part, const struct star *star);
void trail_part_add(struct trail_part *part, const struct patch *patch, const struct star *star);

enum status trail_init(struct trail *trail, size_t triangles, struct job *job);
void trail_release(struct trail *trail);

/* Appends what a patch has done. vertex[] and triangle[] give the original's number of each of the
 * patch's vertices and triangles. */
enum status trail_append(struct trail *trail, const struct trail_part *part, const uint32_t *vertex,
                         const uint32_t *triangle, struct job *job);

struct unfolding { /* the surface in the numbers of the original, while collapses are undone */
    struct trail *trail;
    struct triangle *triangle; /* one a triangle of the original; all NO_INDEX: not there */
    struct point *point;       /* one a vertex of the original */
    uint32_t *parent;          /* one a vertex of the original: what it was merged into */
    /* called for each triangle that changes before it does, and for each that comes back */
    void (*touch)(uint32_t triangle, void *context);
    void *context;
    uint32_t *stack; /* scratch */
    size_t room;
};

/* Undoes the last collapse that touched the triangle (which need not be there), if any did, and
 * before it all that must be. On failure the surface is still a valid one. */
enum status trail_undo(struct unfolding *unfolding, uint32_t triangle, struct job *job);

#endif
