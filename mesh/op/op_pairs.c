#include <stdlib.h>

#include "core/job.h"
#include "op/placing.h"
#include "op/value.h"
#include "scan/horn.h"

struct picked { /* the pairs, side by side */
    struct vec *from, *to;
    size_t count;
};

static enum status read_pairs(const struct op_call *call, struct picked *out)
{
    const char *text = op_value(call, "at")->text;
    size_t count;
    value_pairs(text, 0, NULL, &count);
    double(*pair)[6] = malloc(count * sizeof *pair);
    *out =
        (struct picked){malloc(count * sizeof *out->from), malloc(count * sizeof *out->to), count};
    if (!pair || !out->from || !out->to) {
        free(pair);
        return job_fail_memory(call->job, count * 2 * sizeof *pair);
    }
    value_pairs(text, count, pair, &count);
    for (size_t i = 0; i < count; i++) {
        out->from[i] = vec(pair[i][0], pair[i][1], pair[i][2]);
        out->to[i] = vec(pair[i][3], pair[i][4], pair[i][5]);
    }
    free(pair);
    return STATUS_OK;
}

static double left_at(const struct picked *picked, const struct horn *horn, size_t i)
{
    return vec_length(vec_sub(rigid_apply(&horn->motion, picked->from[i]), picked->to[i]));
}

static enum status refuse_shape(const struct op_call *call, const struct picked *picked,
                                const struct horn *horn)
{
    if (picked->count < 3)
        return job_fail(call->job, STATUS_REFUSED,
                        "\"pairs\": %zu pair%s given; three or more are needed, not on one line",
                        picked->count, picked->count == 1 ? " is" : "s are");
    bool moving = !(horn->spread[0] > 1e-3 * horn->size);
    return job_fail(call->job, STATUS_REFUSED,
                    "\"pairs\": the points on the %s piece lie on one line (within %.2g mm): it "
                    "could turn about it; add a pair off that line",
                    moving ? "moving" : "fixed", horn->spread[moving ? 0 : 1]);
}

static bool is_mirrored(const struct horn *horn)
{
    return horn->mirrored_rms < 0.25 * horn->rms && horn->rms > 0.1 * horn->size;
}

static bool is_scaled(const struct horn *horn, double by)
{
    return horn->scale > by || horn->scale < 1 / by;
}

/* Pairs that no motion brings together: swapped, mirrored, or of different scale. */
static enum status refuse_misfit(const struct op_call *call, const struct picked *picked,
                                 const struct horn *horn)
{
    size_t worst = 0;
    for (size_t i = 1; i < picked->count; i++)
        worst = left_at(picked, horn, i) > left_at(picked, horn, worst) ? i : worst;
    if (is_mirrored(horn))
        return job_fail(
            call->job, STATUS_REFUSED,
            "\"pairs\": the points of one side are the mirror image of the other's (%.3g "
            "mm left, %.3g mm if one could be mirrored); one piece is mirrored, or pairs "
            "are swapped",
            horn->rms, horn->mirrored_rms);
    if (is_scaled(horn, 1.2))
        return job_fail(
            call->job, STATUS_REFUSED,
            "\"pairs\": the points on the fixed piece lie %.4g times as far apart as those "
            "on the moving one; bring them to one scale first: \"scale by=%.6g\"",
            horn->scale, horn->scale);
    return job_fail(
        call->job, STATUS_REFUSED,
        "\"pairs\": the pairs do not fit together: %.3g mm are left (RMS), most at pair "
        "%zu (%.3g mm); check that pair, and the order of the points",
        horn->rms, worst + 1, left_at(picked, horn, worst));
}

static bool misfit(const struct horn *horn)
{
    return horn->rms > 0.35 * horn->size || is_scaled(horn, 1.2) || is_mirrored(horn);
}

static void tell(const struct op_call *call, size_t moving, const struct picked *picked,
                 const struct horn *horn)
{
    job_note(call->job, "%zu pairs: RMS %.3g mm", picked->count, horn->rms);
    for (size_t i = 0; i < picked->count; i++)
        job_note(call->job, "pair %zu: %.3g mm left", i + 1, left_at(picked, horn, i));
    placing_tell(call, moving, &horn->motion);
    if (is_scaled(horn, 1.02))
        job_note(
            call->job,
            "the fixed piece's points lie %.4g times as far apart as the moving one's: are both "
            "of one scale?",
            horn->scale);
}

static enum status pairs_run(struct op_call *call)
{
    size_t moving, fixed;
    struct picked picked = {0};
    struct horn horn;
    enum status status = placing_pair(call, &moving, &fixed);
    if (status == STATUS_OK)
        status = read_pairs(call, &picked);
    if (status == STATUS_OK && !horn_solve(picked.from, picked.to, NULL, picked.count, &horn))
        status = refuse_shape(call, &picked, &horn);
    if (status == STATUS_OK && misfit(&horn))
        status = refuse_misfit(call, &picked, &horn);
    if (status == STATUS_OK)
        status = placing_move_rigid(call, moving, &horn.motion);
    if (status == STATUS_OK)
        tell(call, moving, &picked, &horn);
    free(picked.from);
    free(picked.to);
    return status;
}

static const struct param params[] = {
    {"moving", PARAM_PIECE, OPTIONAL, "2", 0, 0, NULL, "the piece that moves, counted from 1"},
    {"fixed", PARAM_PIECE, OPTIONAL, "1", 0, 0, NULL, "the piece that stays"},
    {"at", PARAM_PAIRS, REQUIRED, NULL, 0, 0, NULL,
     "the same places on both: a point on the moving piece : one on the fixed piece; ..."},
    {0}};

const struct op op_pairs = {
    .name = "pairs",
    .key = "R",
    .title = "placing by pairs",
    .undo = "place by pairs",
    .help = "rough pose of a piece from three or more pairs of points",
    .manual =
        "Moves a piece so that points on it come to lie on points of another as well as they "
        "can, in the mean of squares (Horn 1987, in closed form). Three pairs that are not on "
        "one line are enough; more are better. The note lists what is left at each pair. "
        "Refused when the points of one side lie on a line, are the other's mirror image, or "
        "do not fit together. On the screen the two pieces stand side by side, the chosen one "
        "moves, and the points are put on them by turns; the list tells what is left at each pair "
        "before anything moves. Then \"fit\".",
    .params = params,
    .run = pairs_run,
    .tool = OP_PAIRS,
    .changes = true,
};
