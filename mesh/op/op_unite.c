#include "op/solids.h"

static enum status unite_run(struct op_call *call)
{
    return solids_run(call, BOOLEAN_UNITE);
}

const struct op op_unite = {
    .name = "unite",
    .title = "uniting",
    .undo = "unite",
    .help = "make one solid of two",
    .example = "unite handle.stl",
    .manual = "Makes one solid of each chosen piece and the second one; what lies inside the other "
              "goes. " SOLIDS_MANUAL,
    .params = solids_params,
    .run = unite_run,
    .changes = true,
};
