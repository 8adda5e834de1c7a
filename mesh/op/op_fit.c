#include "core/job.h"
#include "op/placing.h"
#include "scan/fit.h"

static const double wrong_below = 0.25, doubtful_below = 0.6; /* agreement */
static const double contradicted_from = 0.02; /* share that a camera should have looked through */

static enum status refuse(const struct op_call *call, const struct fit *fit)
{
    return job_fail(
        call->job, STATUS_REFUSED,
        "\"fit\": no good fit near this pose: of the surface that faces the other piece "
        "only %.0f%% comes within %.2g mm of it; bring them closer with \"pairs\" "
        "first, or use \"align\"",
        100 * fit->touch.agreement, fit->tolerance);
}

static void tell(const struct op_call *call, size_t moving, size_t fixed, const struct fit *fit)
{
    job_note(call->job, "\"%s\" onto \"%s\": RMS %.3g mm over %.0f%% of it (within %.2g mm)",
             call->in->piece[moving]->name, call->in->piece[fixed]->name, fit->touch.rms,
             100 * fit->touch.overlap, fit->tolerance);
    placing_tell(call, moving, &fit->motion);
    if (fit->touch.agreement < doubtful_below)
        job_note(call->job,
                 "look at it: %.0f%% of the surface that faces the other piece lies off it",
                 100 * (1 - fit->touch.agreement));
    if (fit->misses >= contradicted_from)
        job_note(call->job,
                 "look at it: the camera that took one of them would have looked through %.0f%% of "
                 "the other",
                 100 * fit->misses);
    if (fit->slide.free)
        job_note(call->job, "the shape does not hold it: it %s", fit->slide.text);
}

static enum status fit_run(struct op_call *call)
{
    size_t moving, fixed;
    struct fit fit;
    enum status status = placing_pair(call, &moving, &fixed);
    if (status != STATUS_OK)
        return status;
    status = fit_find(call->in->piece[moving]->mesh, call->in->piece[fixed]->mesh, &fit, call->job);
    if (status == STATUS_OK && fit.touch.agreement < wrong_below)
        status = refuse(call, &fit);
    if (status == STATUS_OK)
        status = placing_move_rigid(call, moving, &fit.motion);
    if (status == STATUS_OK)
        tell(call, moving, fixed, &fit);
    return status;
}

static const struct param params[] = {
    {"moving", PARAM_PIECE, OPTIONAL, "2", 0, 0, NULL, "the piece that moves, counted from 1"},
    {"fixed", PARAM_PIECE, OPTIONAL, "1", 0, 0, NULL, "the piece that stays"},
    {0}};

const struct op op_fit = {
    .name = "fit",
    .key = "F",
    .title = "fitting",
    .undo = "best fit",
    .help = "best fit of one piece to another from where they are",
    .example = "fit moving=2 fixed=1",
    .manual =
        "Moves one piece until it lies on another best, from the present pose, which may be about "
        "30 degrees and a seventh of the size off (\"pairs\" brings it there). Iterated "
        "closest points, coarse to fine, with the symmetric objective of Rusinkiewicz 2019; "
        "surfaces that face different ways, rims, and distances beyond 2.5 sigma do not count, "
        "so the pieces need to overlap in part only. Where that leaves doubts, or the surfaces are "
        "mostly flat faces, places that look alike are compared as well, as \"align\" does, and "
        "what the scans' cameras must have seen. Works on meshes and on point clouds. The note "
        "tells the RMS distance, the share of the moving piece that lies on the other, and, where "
        "the shape does not hold it, how it may slide. Refused when nothing fits near the pose.",
    .params = params,
    .run = fit_run,
    .changes = true,
};
