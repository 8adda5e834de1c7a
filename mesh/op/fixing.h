/* What the operations that cut fixing features share. */
#ifndef FETTLE_OP_FIXING_H
#define FETTLE_OP_FIXING_H

#include "op/op.h"
#include "op/sketch.h"
#include "solid/footing.h"
#include "solid/screws.h"

/* The chosen piece whose surface is nearest to the parameter `at`; objects where that is farther off
 * than `reach` mm. */
enum status fixing_piece(const struct op_call *call, double reach, size_t *piece);

/* Something about the place that speaks against the feature: refused with the message, or told as a
 * note when the parameter `anyway` says so. */
enum status fixing_object(const struct op_call *call, const char *format, ...)
    __attribute__((format(printf, 2, 3)));

/* Objects when the footprint, of that width, is uneven by more than a tenth of it (common practice,
 * no source) or hangs over an edge. */
enum status fixing_ground(const struct op_call *call, const struct footing *footing, double width);

/* From what depth to what the wall beside a feature is looked at: not where the surface slopes down
 * to its rim, or the far side up to its end. `far` is under the feature, `wide` a wall's thickness
 * around it, too; a drop steeper than two in one is no slope, but a ledge or a hole beside it. */
void fixing_span(const struct footing *footing, const struct footing_far *far,
                 const struct footing_far *wide, double wall, double depth, double *first,
                 double *last);

struct vec fixing_vec(const struct op_call *call, const char *param);

/* Takes the tool out of the piece's mesh; the piece has these features beside its own then, as far
 * as they are still there. */
enum status fixing_cut(struct op_call *call, size_t piece, const struct mesh *tool,
                       const struct fixing *fixing, size_t count);

/* A measure from the tables unless the parameter gives one. STATUS_REFUSED when neither does: the
 * message names the screw, the standard and the parameter. */
enum status fixing_measure(const struct op_call *call, const char *param, enum measure measure,
                           double *mm);

/* What has to be said of everything that is to hang. */
#define FIXING_CAUTION                                                                             \
    "prints creep and split, no load is rated: have wall, fixing and load judged by a qualified "  \
    "person under local code; hold it a second time where a fall could hurt"

#define FIXING_SCREW                                                                               \
    {                                                                                              \
        "screw", PARAM_CHOICE, OPTIONAL, "M4", 0, 0, SCREW_NAMES,                                  \
            "its size; no6 no8 no10 are wood screws"                                               \
    }
#define FIXING_WALL                                                                                \
    {                                                                                              \
        "wall", PARAM_LENGTH, OPTIONAL, "1", 0, 1000, NULL,                                        \
            "the least material to be left beside and behind it"                                   \
    }
#define FIXING_ANYWAY                                                                              \
    {                                                                                              \
        "anyway", PARAM_FLAG, OPTIONAL, "no", 0, 0, NULL,                                          \
            "yes: cut it though something speaks against it, which is then only told"              \
    }

#endif
