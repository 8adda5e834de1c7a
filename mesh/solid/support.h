/* How much would have to be built below a part to print it as it lies: all triangles that lean over
 * too far, and the columns below them down to the floor (after Alexander, Allen & Dutta 1998, "Part
 * orientation and build cost determination in layered manufacturing"). Columns that end on the part
 * itself count down to the floor, too: it is a measure to compare poses by, not a bill. */
#ifndef FETTLE_SOLID_SUPPORT_H
#define FETTLE_SOLID_SUPPORT_H

#include "core/mesh.h"

struct support {
    double area;   /* mm2 of the surface that leans over */
    double volume; /* mm3 of the columns */
};

/* Adds the mesh's, with `down` (unit, world) downwards and the floor where dot(down, p) = floor;
 * `lean`: degrees from upright that need nothing yet. What lies within `level` mm of the floor
 * stands on it. One thread; false: the job was cancelled. */
bool support_add(const struct mesh *mesh, struct vec down, double floor, double lean, double level,
                 struct support *support, const struct job *job);

#endif
