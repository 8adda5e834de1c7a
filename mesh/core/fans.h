/* Fans: the rings of triangles around vertices. */
#ifndef FETTLE_CORE_FANS_H
#define FETTLE_CORE_FANS_H

#include "core/topology.h"

/* The non-manifold vertices, ascending: those whose triangles make more than one fan, and the ends
 * of non-manifold edges. A fan goes across every edge of two triangles, also a misoriented one, and
 * over a side of no length; a triangle that is one vertex three times belongs to no fan.
 * *vertices comes from scratch_new (the caller frees); NULL when *count is 0. */
enum status fans_pinched(const struct mesh *mesh, const struct topology *topology,
                         uint32_t **vertices, size_t *count, struct job *job);

#endif
