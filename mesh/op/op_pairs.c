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

/* The greatest distance between points of one side. */
static double across(const struct vec *point, size_t count)
{
    double most2 = 0;
    for (size_t i = 1; i < count; i++)
        most2 = fmax(most2, vec_length2(vec_sub(point[i], point[0])));
    return sqrt(most2);
}

/* --- a bad pair ------------------------------------------------------------------------------ */

static const double bad_from = 4; /* times the RMS of the others: one pair spoils the fit */

struct suspect {
    bool found;
    size_t pair;
    double rms; /* mm: of the others without it */
};

/* The pair without which the others fit together, if there are enough: leaving each out in turn
 * finds it, where the one with most left may be another that it drew off. */
static enum status suspect_find(const struct op_call *call, const struct picked *picked,
                                const struct horn *horn, struct suspect *out)
{
    *out = (struct suspect){.found = false, .rms = horn->rms / bad_from};
    if (picked->count < 4)
        return STATUS_OK;
    double *weight = malloc(picked->count * sizeof *weight);
    if (!weight)
        return job_fail_memory(call->job, picked->count * sizeof *weight);
    for (size_t i = 0; i < picked->count; i++)
        weight[i] = 1;
    for (size_t i = 0; i < picked->count; i++) {
        struct horn others;
        weight[i] = 0;
        if (horn_solve(picked->from, picked->to, weight, picked->count, &others) &&
            others.rms < out->rms)
            *out = (struct suspect){.found = true, .pair = i, .rms = others.rms};
        weight[i] = 1;
    }
    free(weight);
    return STATUS_OK;
}

/* --- refusals -------------------------------------------------------------------------------- */

static enum status refuse_shape(const struct op_call *call, const struct picked *picked,
                                const struct horn *horn)
{
    if (picked->count < 3)
        return job_fail(call->job, STATUS_REFUSED,
                        "\"pairs\": %zu pair%s given; three or more are needed, not on one line",
                        picked->count, picked->count == 1 ? " is" : "s are");
    bool moving = !(horn->spread[0] > 1e-3 * horn->size);
    if (!(across(moving ? picked->from : picked->to, picked->count) > 0))
        return job_fail(call->job, STATUS_REFUSED,
                        "\"pairs\": the points on the %s piece are all the same; put them far "
                        "apart, not on one line",
                        moving ? "moving" : "fixed");
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
                                 const struct horn *horn, const struct suspect *suspect)
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
    if (suspect->found)
        return job_fail(
            call->job, STATUS_REFUSED,
            "\"pairs\": the pairs do not fit together: %.3g mm are left (RMS), but %.3g "
            "mm without pair %zu; leave that pair out, or put it anew",
            horn->rms, suspect->rms, suspect->pair + 1);
    if (is_scaled(horn, 1.2))
        return job_fail(
            call->job, STATUS_REFUSED,
            "\"pairs\": the points on the fixed piece lie %.4g times as far apart as those "
            "on the moving one; bring them to one scale first: \"scale by=%.6g\"; or, if they "
            "are of one, put the pairs anew",
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
                 const struct horn *horn, const struct suspect *suspect)
{
    job_note(call->job, "%zu pairs: RMS %.3g mm", picked->count, horn->rms);
    for (size_t i = 0; i < picked->count; i++)
        job_note(call->job, "pair %zu: %.3g mm left", i + 1, left_at(picked, horn, i));
    if (suspect->found)
        job_note(
            call->job,
            "look at pair %zu: without it the others fit to %.3g mm (RMS); it may be misplaced",
            suspect->pair + 1, suspect->rms);
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
    struct suspect suspect;
    enum status status = placing_pair(call, &moving, &fixed);
    if (status == STATUS_OK)
        status = read_pairs(call, &picked);
    if (status == STATUS_OK && !horn_solve(picked.from, picked.to, NULL, picked.count, &horn))
        status = refuse_shape(call, &picked, &horn);
    if (status == STATUS_OK)
        status = suspect_find(call, &picked, &horn, &suspect);
    if (status == STATUS_OK && misfit(&horn))
        status = refuse_misfit(call, &picked, &horn, &suspect);
    if (status == STATUS_OK)
        status = placing_move_rigid(call, moving, &horn.motion);
    if (status == STATUS_OK)
        tell(call, moving, &picked, &horn, &suspect);
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
    .example = "pairs moving=2 fixed=1 at=@1:@2;@3:@4;@5:@6",
    .manual =
        "Moves a piece so that points on it come to lie on points of another as well as they "
        "can, in the mean of squares (Horn 1987, in closed form). Three pairs that are not on "
        "one line are enough; more are better. The note lists what is left at each pair, and "
        "names a pair without which the others fit far better. "
        "Refused when the points of one side lie on a line, are the other's mirror image, or "
        "do not fit together. On the screen the two pieces stand side by side, the chosen one "
        "moves, and the points are put on them by turns; the list tells what is left at each pair "
        "before anything moves. Then \"fit\".",
    .params = params,
    .run = pairs_run,
    .tool = OP_PAIRS,
    .changes = true,
};
