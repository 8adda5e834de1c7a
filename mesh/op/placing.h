/* What the operations that move pieces as a whole share. */
#ifndef FETTLE_OP_PLACING_H
#define FETTLE_OP_PLACING_H

#include "op/op.h"
#include "scan/rigid.h"
#include "solid/place.h"
#include "solid/stand.h"

/* The meshes of the chosen pieces, borrowed, in a list that the caller frees (of none on failure).
 */
enum status placing_meshes(const struct op_call *call, const struct mesh ***mesh, size_t *count);

/* The box around the chosen pieces, world, mm. STATUS_REFUSED when there is nothing in it. */
enum status placing_box(const struct op_call *call, struct vec *min, struct vec *max);

/* Moves the chosen pieces, all alike. */
enum status placing_move(struct op_call *call, const struct motion *motion);

/* STATUS_REFUSED when piece i (from 0) is locked; the message says how it is unlocked. */
enum status placing_unlocked(const struct op_call *call, size_t i);

/* Moves piece i (from 0) unless it is locked. What is rigid is remembered in its pose. */
enum status placing_move_piece(struct op_call *call, size_t i, const struct motion *motion);
enum status placing_move_rigid(struct op_call *call, size_t i, const struct rigid *rigid);

/* The pieces that the parameters "moving" and "fixed" name, from 0: STATUS_USAGE unless they are
 * two, and the one that moves is not
 * locked. */
enum status placing_pair(const struct op_call *call, size_t *moving, size_t *fixed);

/* Notes what was done, and from where to where the chosen pieces now lie: "turned by 10 degrees:
 * now from 0, 0, 0 to 1, 2, 3 mm". */
enum status placing_tell_box(const struct op_call *call, const char *format, ...)
    __attribute__((format(printf, 2, 3)));

/* Notes how far the motion took the piece: "moved by 5.2 mm, turned by 10 degrees". */
void placing_tell(const struct op_call *call, size_t i, const struct rigid *rigid);

/* As a note should say a place: what is nothing but rounding, under a millionth mm, is 0. */
struct vec placing_tidy(struct vec place);

/* Notes what it stands on and how far it may be tilted. */
void placing_tell_standing(const struct stand_report *report, struct job *job);

#endif
