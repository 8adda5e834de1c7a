/* Whether a mesh is a solid. */
#ifndef FETTLE_SOLID_JUDGE_H
#define FETTLE_SOLID_JUDGE_H

#include "core/mesh.h"

/* STATUS_REFUSED, with what is wrong, where, and what mends it, unless the mesh (joined) has
 * triangles, is closed and manifold along its edges, faces outward and does not cross itself. */
enum status solid_judge(const struct mesh *mesh, struct job *job);

/* The volume it encloses, mm3; less than 0 when it faces inward. */
enum status solid_volume(const struct mesh *mesh, double *out, struct job *job);

#endif
