/* The surface around a hole. */
#ifndef FETTLE_SURFACE_FILL_AROUND_H
#define FETTLE_SURFACE_FILL_AROUND_H

#include "surface/fill_patch.h"

struct around {
    size_t vertices;  /* of the surface around that are not on the rim */
    struct vec *at;   /* their places */
    size_t triangles;
    uint32_t *corner; /* 3 * triangles: below patch->rim a vertex of the rim; else at[i - rim] */
};

/* Reads the triangles that have a vertex on the hole's rims, on the side of the hole (not those of
 * another sheet that touches it there), and sets patch->size of the old vertices to the mean length
 * of their edges there. False when out of memory. */
bool around_read(const struct mesh *mesh, const struct topology *topology, struct patch *patch,
                 struct around *around);
void around_release(struct around *around);

#endif
