#include <string.h>

#include "core/job.h"
#include "op/placing.h"

static bool never_moved(const struct piece *piece)
{
    struct rigid rest = rigid_rest();
    return memcmp(piece->pose.turn, rest.turn, sizeof rest.turn) == 0 &&
           vec_length2(piece->pose.shift) == 0;
}

static enum status put_back(struct op_call *call, size_t i)
{
    const struct piece *piece = call->in->piece[i];
    struct rigid back = rigid_inverse(&piece->pose);
    if (never_moved(piece)) {
        job_note(call->job, "%s lies where it was opened", piece->name);
        return STATUS_OK;
    }
    enum status status = placing_move_rigid(call, i, &back);
    if (status != STATUS_OK)
        return status;
    call->out->piece[i]->pose = rigid_rest(); /* without what rounding left */
    job_note(call->job, "%s is put back where it was opened", piece->name);
    placing_tell(call, i, &back);
    return STATUS_OK;
}

static enum status put_back_run(struct op_call *call)
{
    const struct scene *in = call->in;
    enum status status = op_any_chosen(call);
    size_t i = op_chosen(call, 0);
    for (; i < in->count && status == STATUS_OK; i = op_chosen(call, i + 1))
        status = placing_unlocked(call, i);
    for (i = op_chosen(call, 0); i < in->count && status == STATUS_OK; i = op_chosen(call, i + 1))
        status = put_back(call, i);
    return status;
}

static const struct param params[] = {OP_PIECE_AS(POSITIONAL), {0}};

const struct op op_put_back = {
    .name = "put-back",
    .title = "putting back",
    .undo = "put back",
    .help = "put a piece back where its file has it",
    .example = "put-back 2",
    .manual =
        "Takes back all moves and turns that a piece has gone through as a whole since it was "
        "opened, whatever steps made them: move, turn, stand, centre, pairs, fit, align. What "
        "changed its shape stays done: it is cut, cleaned, scaled or mirrored still. A fused piece "
        "goes back to where it was fused. Positions come out as they were to within the rounding "
        "of each move, about one part in ten million of the size.",
    .params = params,
    .run = put_back_run,
    .changes = true,
};
