#include "core/job.h"
#include "op/op.h"

static enum status unlock_run(struct op_call *call)
{
    enum status status = op_any_chosen(call);
    for (size_t i = op_chosen(call, 0); i < call->in->count && status == STATUS_OK;
         i = op_chosen(call, i + 1)) {
        status = scene_lock(call->out, i, false, call->job);
        if (status == STATUS_OK)
            job_note(call->job, "%s can be moved again", call->in->piece[i]->name);
    }
    return status;
}

static const struct param params[] = {OP_PIECE_AS(POSITIONAL), {0}};

const struct op op_unlock = {
    .name = "unlock",
    .title = "unlocking",
    .undo = "unlock a piece",
    .help = "let a locked piece be moved again",
    .example = "unlock all",
    .manual = "Undoes what \"lock\" did to a piece, or to all that are not hidden.",
    .params = params,
    .run = unlock_run,
    .changes = true,
};
