/* Surfaces that touch themselves in vertices or edges only, parted. */
#ifndef FETTLE_SOLID_SEAMS_H
#define FETTLE_SOLID_SEAMS_H

#include "core/mesh.h"

struct seams_report {
    size_t edges;    /* that more than two triangles had */
    size_t vertices; /* new ones */
};

/* A mesh in which no vertex has more than one fan of triangles and no edge more than two.
 *
 * On an edge of many triangles as many of which run it one way as the other, those that bound the
 * same wedge of solid go together, by exact directions around the edge; so solids that touch are
 * parted and none is opened. On any other edge, pairs that go on most evenly go together, what is
 * left over gets a rim of its own (after Gueziec, Taubin, Lazarus & Horn 2001, "Cutting and
 * Stitching: Converting Sets of Polygons to Manifold Surfaces"). Then each fan but the flattest of
 * a vertex gets a copy of it, `apart` mm nearer to its own triangles (0: in the same place; the
 * mesh then counts as not joined). Where two pairs would still share an edge, one is split in its
 * middle.
 *
 * Old vertices keep their numbers and places, new ones follow; triangles keep theirs, halves of
 * split ones follow. Positions must be joined. *out is `mesh`, shared, when nothing is to part. */
enum status seams_part(const struct mesh *mesh, double apart, struct mesh **out,
                       struct seams_report *report, struct job *job);

#endif
