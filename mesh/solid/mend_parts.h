/* What the files mend*.c share. Nobody else includes this.
 *
 * Each step takes a mesh and replaces it by the next, so that `mesh` is always the present one. */
#ifndef FETTLE_SOLID_MEND_PARTS_H
#define FETTLE_SOLID_MEND_PARTS_H

#include "core/crossings.h"
#include "core/job.h"
#include "core/topology.h"
#include "solid/mend.h"
#include "solid/pile.h"

struct mending {
    struct mesh *mesh; /* joined */
    const struct mend_options *options;
    struct mend_report *report;
    struct job *job;
};

/* Lets go of the present mesh for the next; NULL: that one failed, and the job says why. */
enum status mending_take(struct mending *m, struct mesh *next);
/* The triangles with keep[t] != 0 alone; mark (one a vertex, or NULL) is closed up with the
 * vertices.
 */
enum status mending_keep(struct mending *m, const uint8_t *keep, uint8_t *mark);

/* mm: the spacing of single precision at the mesh's largest coordinate. */
double mending_grain(const struct mesh *mesh);

struct crossings {
    struct crossing *pair;
    size_t count;
};
/* All pairs; free(pair). */
enum status mending_crossings(const struct mending *m, struct crossings *out);

/* --- mend_clean.c: triangles without area, doubled ones --- */
enum status mend_clean(struct mending *m);

/* --- mend_sides.c: which side of the surface is out --- */
struct mend_part { /* what hangs together across edges of two triangles */
    size_t triangles;
    bool open;
    bool hangs; /* on an edge of others */
    double area, volume;
    struct vec facing; /* its area vectors, added up */
    uint32_t first;    /* triangle */
};
struct mend_parts {
    uint32_t *of; /* one a triangle */
    struct mend_part *part;
    size_t count;
};
/* Of a mesh whose triangles of one part agree. scratch_free both. */
enum status mend_parts_measure(const struct mesh *mesh, struct mend_parts *out, struct job *job);
void mend_parts_release(struct mend_parts *parts);
/* Makes the triangles agree and closed parts face as they should. Edges of many must be parted. */
enum status mend_sides(struct mending *m);

/* --- mend_open.c: sheets, folds and holes --- */
/* pairs: crossings of the mesh. hangs: one a triangle, of the first `hanging`: it has an edge of
 * many. rings: of triangles around a fold that go with it. */
struct opening {
    const struct crossings *pairs;
    const uint8_t *hangs;
    size_t hanging;
    int rings;
};
enum status mend_open(struct mending *m, const struct opening *opening);

/* --- mend_hull.c: crossings cut, what is inside taken out --- */
/* `pairs` are all crossings of the mesh, which must be closed. */
enum status mend_hull(struct mending *m, const struct crossings *pairs);

#endif
