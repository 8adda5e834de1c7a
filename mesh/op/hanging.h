/* What the operations about hanging share: the keyholes of the chosen pieces, and how those hang.
 */
#ifndef FETTLE_OP_HANGING_H
#define FETTLE_OP_HANGING_H

#include "op/op.h"
#include "solid/hang.h"

/* How the chosen pieces, taken together, hang by their keyholes: those that face the way the first
 * does. *found: how many keyholes there are; when none, nothing else is set. *first: one of them,
 * borrowed. Notes those that are left out. */
enum status hanging_find(const struct op_call *call, const struct mesh *const *mesh, size_t count,
                         const struct mass *mass, struct hang *hang, size_t *found,
                         const struct fixing **first);

/* Notes how it hangs; grams 0: not known. */
void hanging_tell(const struct op_call *call, const struct hang *hang, double grams);

/* Draws it: the screws, the line that comes level, the plumb line below the screws, and the arm
 * from the wall to the centre of mass. */
enum status hanging_sketch(const struct op_call *call, const struct hang *hang, struct vec centre,
                           struct sketch *sketch);

#endif
