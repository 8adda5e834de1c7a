/* Equal positions in a surface whose vertices are distinct. */
#ifndef FETTLE_SURFACE_DECIMATE_APART_H
#define FETTLE_SURFACE_DECIMATE_APART_H

#include "core/mesh.h"

/* Moves apart vertices that have come to the same position, by the least step there is: the mesh
 * (nobody else holds it yet) stays joined, and a file of it stays closed. *moved: some were. */
enum status move_apart(struct mesh *mesh, bool *moved, struct job *job);

#endif
