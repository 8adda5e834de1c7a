/* A triangulation of exact points in a plane that has given segments for edges. */
#ifndef FETTLE_SOLID_WEAVE_H
#define FETTLE_SOLID_WEAVE_H

#include "core/job.h"
#include "solid/spots.h"

enum { WEAVE_FRAME = 3 }; /* points 0 to 2 are a frame around all others */

struct weave_triangle { /* counter-clockwise; side k runs from corner k to the next */
    uint32_t v[3];      /* points of the net */
    uint32_t across[3];
    uint8_t fixed; /* bit k: side k is (a part of) a segment */
};

struct weave {
    struct spots *spots;
    int dropped;          /* the axis that is left out */
    struct pile point;    /* uint32_t: spots */
    struct pile triangle; /* struct weave_triangle */
    struct pile at;       /* uint32_t: one a point, a triangle that has it */
    uint32_t last;        /* where the last point went */
};

/* Triangulates spots in one plane, which must all differ, so that every segment (a pair of indices
 * into `spot`) is an edge. No point may lie inside a segment and no two segments may cross. Points
 * of the net are WEAVE_FRAME + the index. As near to Delaunay as double precision tells, exact in
 * all that matters (insertion with flips: Lawson 1977; segments: Sloan 1993, "A Fast Algorithm for
 * Generating Constrained Delaunay Triangulations"). Release `net` whatever the outcome. */
enum status weave_make(struct weave *net, struct spots *spots, int dropped, const uint32_t *spot,
                       size_t count, const uint32_t (*segment)[2], size_t segments,
                       struct job *job);
void weave_release(struct weave *net);

#endif
