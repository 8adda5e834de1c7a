/* The flat places of a mesh (a foot that was cut, the faces of a machined part): decimation keeps
 * them flat, where without them a vertex at their border would settle between the plane and what
 * is rough beside it. */
#ifndef FETTLE_SURFACE_DECIMATE_FLAT_H
#define FETTLE_SURFACE_DECIMATE_FLAT_H

#include "core/mesh.h"
#include "core/topology.h"

struct flat { /* normal . p = height for its points (local) */
    struct vec normal;
    double height;
};

enum { FEET_MOST = 8 };

struct flats {
    size_t count;
    struct flat *flat;
    double rounding; /* mm: how far off its plane what lies in one may be */
    int feet; /* flats that the whole mesh stands on: it lies on one side */
    struct flat foot[FEET_MOST];
    uint16_t *of; /* one a triangle: which flat place it is part of, from 1; 0: none. NULL when
                     there are none at all */
};

/* Finds the regions of triangles, connected across edges, whose corners lie in one plane to within
 * the rounding of their coordinates, and that make up a two-thousandth of the surface or more. The
 * mesh is joined. Released by the caller. */
enum status flats_find(const struct mesh *mesh, struct flats *flats, struct job *job);
void flats_release(struct flats *flats);

/* The point nearest to p that is not beyond a foot. */
static inline struct vec flats_above(const struct flats *flats, struct vec p)
{
    for (int i = 0; i < flats->feet; i++) {
        double beyond = vec_dot(flats->foot[i].normal, p) - flats->foot[i].height;
        if (beyond > 0)
            p = vec_along(p, -beyond, flats->foot[i].normal);
    }
    return p;
}

/* The point nearest to p that lies on all the flats named (up to three that do not run alike; the
 * others are left out, as are those farther from p than `reach`). */
struct vec flats_project(const struct flats *flats, const uint16_t *which, int count, struct vec p,
                         double reach);

#endif
