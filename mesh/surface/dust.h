/* Floating bits: pieces of surface that hang together with nothing that matters. */
#ifndef FETTLE_SURFACE_DUST_H
#define FETTLE_SURFACE_DUST_H

#include "core/mesh.h"

struct dust_limit {
    bool share;  /* size is a share of the largest component's area; else a length, mm, of which the
                    diagonal of a component's box must be at least that much */
    double size; /* components smaller than that go */
};

struct dust_report {
    size_t components, triangles; /* how many went */
    size_t left;                  /* components that stay */
    double area;                  /* mm2 that went */
};

/* The mesh without its small components (the largest always stays) and without points that no
 * triangle uses; shared when nothing goes. NULL on failure; STATUS_REFUSED for a point cloud. */
struct mesh *dust(const struct mesh *mesh, struct dust_limit limit, struct dust_report *report,
                  struct job *job);

#endif
