/* What the boolean operations share. */
#ifndef FETTLE_OP_SOLIDS_H
#define FETTLE_OP_SOLIDS_H

#include "op/op.h"
#include "solid/boolean.h"

/* Their parameters: the second solid is the mesh in a file, or a piece of the scene, which goes. */
extern const struct param solids_params[];

/* Carries the operation out on each chosen piece. */
enum status solids_run(struct op_call *call, enum boolean_kind kind);

#define SOLIDS_MANUAL                                                                              \
    "Both must be closed and face outward; shells inside shells are cavities. Which triangles "    \
    "meet and what lies inside is decided exactly, so that faces in one plane, edges along each "  \
    "other and touching corners are no trouble; the result is closed again, and what would touch " \
    "itself in a point or an edge only is parted by the least that the numbers can tell. "         \
    "Triangles far from the cut stay as they are, with their colours; what comes from the second " \
    "solid is marked as made. A solid that is open, faces inward or crosses itself at the cut is " \
    "refused with the place and the operation that mends it."

#endif
