/* Turning triangles over: their other side becomes the outside. */
#ifndef FETTLE_CORE_TURN_OVER_H
#define FETTLE_CORE_TURN_OVER_H

#include "core/mesh.h"

/* Exchanges the last two corners of the triangles for which `turns` (NULL: of all), and whatever
 * attributes these corners have with them; all else stays as it is. `made` shares the arrays of
 * `old` (mesh_new_like) and is given its own of those that change. STATUS_MEMORY and
 * STATUS_CANCELLED on failure: made is then partly filled, free it. */
enum status mesh_turn_over(struct mesh *made, const struct mesh *old,
                           bool (*turns)(const void *context, size_t triangle), const void *context,
                           struct job *job);

#endif
