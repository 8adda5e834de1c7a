#include "core/job.h"
#include "op/op.h"
#include "surface/smooth.h"

static void tell(const struct smooth_report *report, struct job *job)
{
    struct vec at = report->at;
    if (report->largest > 0)
        job_note(job,
                 "vertices moved by %.3g mm (RMS), by %.3g mm at the most, at %.5g, %.5g, %.5g",
                 report->rms, report->largest, at.x, at.y, at.z);
    else
        job_note(job, "no vertex moved: it is smooth already");
    if (report->kept > 0)
        job_note(job, "%zu vertices on open or non-manifold edges stayed", report->kept);
}

static enum status make(const struct op_call *call, const struct mesh *mesh, struct mesh **out,
                        struct job *job)
{
    const struct smooth_options options = {(unsigned)op_value(call, "passes")->number,
                                           op_value(call, "strength")->number};
    struct smooth_report report;
    if (mesh_triangles(mesh) == 0)
        return job_fail(job, STATUS_REFUSED,
                        "a point cloud has no surface to smooth; choose a piece with triangles");
    enum status status = smooth_mesh(mesh, &options, out, &report, job);
    if (status == STATUS_OK)
        tell(&report, job);
    return status;
}

static enum status smooth_run(struct op_call *call)
{
    return op_each(call, make);
}

static const struct param params[] = {
    {"passes", PARAM_COUNT, POSITIONAL, "5", 1, 1000, NULL, "more take off longer ripples"},
    {"strength", PARAM_NUMBER, OPTIONAL, "1", 0.01, 1, NULL, "how far a pass moves a vertex"},
    OP_PIECE,
    {0}};

const struct op op_smooth = {
    .name = "smooth",
    .key = "m",
    .title = "smoothing",
    .undo = "smooth",
    .help = "take noise off the surface",
    .example = "smooth passes=8",
    .manual =
        "Each pass moves every vertex towards the mean of its neighbours and then a little farther "
        "back, so that ripples a few edges long go while the shape keeps its size; a closed piece "
        "keeps its volume. Five passes leave about two fifths of the noise of single vertices. "
        "Sharp edges are rounded too. Vertices on open edges stay. Reported is how far vertices "
        "were moved.",
    .params = params,
    .run = smooth_run,
    .changes = true,
};
