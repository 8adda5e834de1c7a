#include "core/job.h"
#include "op/op.h"

static enum status show_run(struct op_call *call)
{
    const struct value *piece = op_value(call, "piece");
    enum status status = STATUS_OK;
    size_t shown = 0;
    for (size_t i = 0; i < call->in->count && status == STATUS_OK; i++) {
        bool meant = piece->number == 0 || i == (size_t)piece->number - 1;
        if (!meant || !call->in->piece[i]->hidden)
            continue;
        status = scene_hide(call->out, i, false, call->job);
        if (status == STATUS_OK)
            job_note(call->job, "%s is in sight again", call->in->piece[i]->name);
        shown++;
    }
    if (status == STATUS_OK && shown == 0)
        job_note(call->job, "nothing was hidden");
    return status;
}

static const struct param params[] = {
    {"piece", PARAM_PIECE, POSITIONAL, "all", 0, 0, NULL, "which piece, counted from 1, or all"},
    {0}};

const struct op op_show = {
    .name = "show",
    .title = "showing",
    .undo = "show a piece",
    .help = "bring a hidden piece back",
    .example = "show all",
    .manual = "Undoes what `hide` did to a piece, or to all of them.",
    .params = params,
    .run = show_run,
    .changes = true,
};
