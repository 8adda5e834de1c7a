#include "core/job.h"
#include "op/op.h"

static enum status lock_run(struct op_call *call)
{
    enum status status = op_any_chosen(call);
    for (size_t i = op_chosen(call, 0); i < call->in->count && status == STATUS_OK;
         i = op_chosen(call, i + 1)) {
        status = scene_lock(call->out, i, true, call->job);
        if (status == STATUS_OK)
            job_note(call->job, "%s stays where it lies; \"unlock %zu\" lets it move again",
                     call->in->piece[i]->name, i + 1);
    }
    return status;
}

static const struct param params[] = {OP_PIECE_AS(POSITIONAL), {0}};

const struct op op_lock = {
    .name = "lock",
    .title = "locking",
    .undo = "lock a piece",
    .help = "lock a piece where it lies: nothing moves it",
    .example = "lock 1",
    .manual =
        "No step moves, turns, scales or mirrors a locked piece as a whole: one that would is "
        "refused. \"align\" lets locked pieces lie as they are and brings the others to them. "
        "Cleaning, cutting and decimating go on as usual. \"unlock\" frees it.",
    .params = params,
    .run = lock_run,
    .changes = true,
};
