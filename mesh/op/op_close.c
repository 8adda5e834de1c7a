#include "core/job.h"
#include "op/op.h"

static enum status close_run(struct op_call *call)
{
    enum status status = op_any_chosen(call);
    if (status != STATUS_OK)
        return status;
    /* From the last one on, so that the numbers of those still to go stay right. */
    for (size_t i = call->in->count; i-- > 0;)
        if (op_chosen(call, i) == i) {
            job_note(call->job, "%s is out of the scene; its file stays as it is",
                     call->in->piece[i]->name);
            scene_remove(call->out, i);
        }
    return STATUS_OK;
}

static const struct param params[] = {OP_PIECE_AS(POSITIONAL), {0}};

const struct op op_close = {
    .name = "close",
    .title = "closing",
    .undo = "close a piece",
    .help = "take a piece out of the scene",
    .example = "close 2",
    .manual = "The piece's file stays as it is. The pieces behind it count one less from then on.",
    .params = params,
    .run = close_run,
    .changes = true,
};
