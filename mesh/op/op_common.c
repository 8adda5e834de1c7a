#include "op/solids.h"

static enum status common_run(struct op_call *call)
{
    return solids_run(call, BOOLEAN_COMMON);
}

const struct op op_common = {
    .name = "common",
    .title = "finding what is common",
    .undo = "common part",
    .help = "keep what two solids have in common",
    .example = "common tool=2",
    .manual = "Keeps of each chosen piece what lies inside the second solid too. " SOLIDS_MANUAL,
    .params = solids_params,
    .run = common_run,
    .changes = true,
};
