/* Triangles so low, or lying so flat on others, that rounding may turn them over. */
#ifndef FETTLE_SOLID_NEEDLES_H
#define FETTLE_SOLID_NEEDLES_H

#include "core/mesh.h"

/* Steps of single precision at a mesh's largest coordinate: a triangle lower than that is a needle;
 * moving the mesh about rounds by one or two each time. */
enum { NEEDLES = 16 };

/* Whether a triangle is lower than `least` above its longest edge. */
bool needles_low(const struct vec corner[3], double least);

/* A mesh with the needles, and with what is folded flat over its neighbours, turned into their
 * neighbours (graft_flip in graft.h), where `may` lets them: it is told the corners of two
 * triangles that are to be, local, mm. Vertices stay, and so do all other triangles, in their
 * places. *out shares what does not change and is NULL when nothing would, when some would then
 * cross others, or when the mesh has attributes of triangles or their corners, which would have to
 * be carried; the caller frees it. */
enum status needles_flip(const struct mesh *mesh,
                         bool (*may)(const void *context, struct vec now[2][3]),
                         const void *context, struct mesh **out, struct job *job);

#endif
