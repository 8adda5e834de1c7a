#include "core/job.h"
#include "op/op.h"

static enum status hide_run(struct op_call *call)
{
    enum status status = op_any_chosen(call);
    for (size_t i = op_chosen(call, 0); i < call->in->count && status == STATUS_OK;
         i = op_chosen(call, i + 1)) {
        status = scene_hide(call->out, i, true, call->job);
        if (status == STATUS_OK)
            job_note(call->job, "%s is out of sight and out of work; \"show %zu\" brings it back",
                     call->in->piece[i]->name, i + 1);
    }
    return status;
}

static const struct param params[] = {OP_PIECE_AS(POSITIONAL), {0}};

const struct op op_hide = {
    .name = "hide",
    .title = "hiding",
    .undo = "hide a piece",
    .help = "put a piece out of sight and out of work",
    .example = "hide 2",
    .manual =
        "A hidden piece is not drawn, not saved, and no step works on it unless the step names "
        "it with piece=N. `show` brings it back.",
    .params = params,
    .run = hide_run,
    .changes = true,
};
