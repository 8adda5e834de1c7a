/* New points that keep apart from all others. */
#ifndef FETTLE_SURFACE_FILL_APART_H
#define FETTLE_SURFACE_FILL_APART_H

#include "core/mesh.h"

/* Moves the points first, first + 1, ... of the mesh, which nobody else holds yet, by the least step
 * that floats allow where one is equal to another or to a point before `first`: a mesh whose vertices
 * are joined by position must keep them apart. *apart is false when some could not be moved clear
 * (points without room between them). STATUS_MEMORY or STATUS_CANCELLED, recorded. */
enum status points_part(struct mesh *mesh, size_t first, bool *apart, struct job *job);

#endif
