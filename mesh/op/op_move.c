#include "op/placing.h"

static enum status move_run(struct op_call *call)
{
    const double *by = op_value(call, "by")->vec;
    struct motion motion = motion_shift(vec(by[0], by[1], by[2]));
    enum status status = op_any_chosen(call);
    if (status == STATUS_OK)
        status = placing_move(call, &motion);
    return status == STATUS_OK
               ? placing_tell_box(call, "shifted by %.6g, %.6g, %.6g mm", by[0], by[1], by[2])
               : status;
}

static const struct param params[] = {
    {"by", PARAM_VEC, REQUIRED_POSITIONAL, NULL, 0, 0, NULL, "how far along x, y and z"},
    OP_PIECE,
    {0}};

const struct op op_move = {
    .name = "move",
    .key = "M",
    .title = "moving",
    .undo = "move",
    .help = "shift pieces",
    .example = "move 0,0,12.5mm",
    .manual = "Shifts the chosen pieces by the given lengths along x, y and z.",
    .params = params,
    .run = move_run,
    .changes = true,
};
