#include "op/solids.h"

static enum status subtract_run(struct op_call *call)
{
    return solids_run(call, BOOLEAN_SUBTRACT);
}

const struct op op_subtract = {
    .name = "subtract",
    .title = "subtracting",
    .undo = "subtract",
    .help = "take one solid out of another",
    .example = "subtract tool=2",
    .manual = "Takes away from each chosen piece what lies inside the second solid; one that lies "
              "fully inside leaves a cavity. " SOLIDS_MANUAL,
    .params = solids_params,
    .run = subtract_run,
    .changes = true,
};
