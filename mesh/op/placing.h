/* What the operations that move pieces as a whole share. */
#ifndef FETTLE_OP_PLACING_H
#define FETTLE_OP_PLACING_H

#include "op/op.h"
#include "solid/place.h"

/* The box around the chosen pieces, world, mm. STATUS_REFUSED when there is nothing in it. */
enum status placing_box(const struct op_call *call, struct vec *min, struct vec *max);

/* Moves the chosen pieces, all alike. */
enum status placing_move(struct op_call *call, const struct motion *motion);

#endif
