/* Triangulating one polygon. */
#ifndef FETTLE_CORE_POLYGON_H
#define FETTLE_CORE_POLYGON_H

#include <stdint.h>

#include "core/status.h"
#include "core/vec.h"

struct job;

/* Cuts the polygon through corner[0..count-1] (any positions in space, finite; neither flat nor
 * simple need it be) into count - 2 triangles that run the same way round, each three indices into
 * `corner`, written to triangle[0..count-3]. A convex polygon becomes the fan from its first
 * corner; else ears are cut off in the plane it lies in most (Meisters 1975, "Polygons have ears";
 * tests are exact). A simple flat polygon is covered exactly; one that crosses itself gets
 * triangles too. count < 3 gives none. STATUS_MEMORY when there is none: nothing is then written.
 */
enum status polygon_triangulate(const struct vec *corner, uint32_t count, uint32_t (*triangle)[3],
                                struct job *job);

#endif
