/* The holes of a mesh, read for filling. */
#ifndef FETTLE_SURFACE_FILL_RIM_H
#define FETTLE_SURFACE_FILL_RIM_H

#include "core/topology.h"
#include "surface/fill.h"
#include "surface/fill_pairs.h"

/* Rims are closed walks along boundary edges, in the direction in which the triangles that fill them
 * run. Edge i of a rim joins its vertices i and i + 1 (the last: and 0). A rim comes to a vertex more
 * than once only where an island touches it. */
struct rims {
    size_t count;
    uint32_t *start;   /* rim i has the entries start[i] ... start[i + 1] - 1 */
    uint32_t *vertex;  /* one an entry: of the mesh */
    uint32_t *half;    /* one an entry: the half-edge of the mesh along that edge. It runs against the
                          rim, or along it where the mesh is misoriented */
    double *length;    /* mm, one a rim */
    size_t holes;      /* to be filled */
    uint32_t *hole_start; /* hole i has the rims member[hole_start[i]] ...: the outer one, islands */
    uint32_t *member;
    struct pairs taken; /* edges the mesh has between vertices of rims */
    struct rim_vertex { /* vertices that lie on several holes, ascending by vertex, then hole */
        uint32_t vertex, hole;
    } *shared;
    size_t shares;
};

/* Reads the rims and chooses the holes to fill; counts in the report those that are left. */
enum status rims_read(const struct mesh *mesh, const struct topology *topology,
                      const struct fill_options *options, struct rims *out,
                      struct fill_report *report, struct job *job);
void rims_release(struct rims *rims);

/* Whether the filling of that hole may have an edge between two old vertices: the mesh has none
 * there, and no other hole may make one. */
bool rims_may_join(const struct rims *rims, uint32_t hole, uint32_t a, uint32_t b);

/* Finds islands (fill_island.c): sets of[i] of each rim that is an island to the rim it lies in;
 * NO_INDEX for all others. Records a failure in the job. */
enum status rims_islands(const struct mesh *mesh, const struct rims *rims, uint32_t *of,
                         struct job *job);

/* Where islands touch the rim of their hole or each other (fill_touch.c), the hole's border is one
 * walk along both, and falls into several holes when they touch in several vertices. Replaces those
 * rims by such walks; *changed says whether there were any. False when out of memory. */
bool rims_touch(const struct mesh *mesh, struct rims *rims, const uint32_t *of, bool *changed);

#endif
