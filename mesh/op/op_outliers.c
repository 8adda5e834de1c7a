#include "core/job.h"
#include "op/op.h"
#include "scan/outliers.h"

static void tell(const struct outliers_report *r, bool triangles, struct job *job)
{
    if (r->strays)
        job_note(
            job,
            "%zu stray point%s gone, over %.3g times as far from neighbours as these from theirs; "
            "%zu stay, about %.3g mm apart",
            r->strays, r->strays == 1 ? "" : "s", r->factor, r->left, r->spacing);
    else
        job_note(
            job,
            "no stray points: none is more than %.3g times as far from its neighbours as these "
            "from theirs; they are about %.3g mm apart",
            r->factor, r->spacing);
    if (r->unused)
        job_note(job, "%zu point%s that no triangle used gone", r->unused,
                 r->unused == 1 ? "" : "s");
    if (triangles && r->triangles)
        job_note(job, "%zu triangles went with their corners", r->triangles);
}

static enum status make(const struct op_call *call, const struct mesh *mesh, struct mesh **out,
                        struct job *job)
{
    const struct outliers_options options = {op_value(call, "sigma")->number,
                                             (unsigned)op_value(call, "around")->number};
    struct outliers_report report;
    *out = outliers(mesh, &options, &report, job);
    if (!*out)
        return job_status(job);
    tell(&report, mesh_triangles(mesh) > 0, job);
    return STATUS_OK;
}

static enum status outliers_run(struct op_call *call)
{
    return op_each(call, make);
}

static const struct param params[] = {
    {"sigma", PARAM_NUMBER, POSITIONAL, "3", 0.1, 100, NULL,
     "how many spreads above the usual a point may lie off; less takes more"},
    {"around", PARAM_COUNT, OPTIONAL, "16", OUTLIERS_AROUND_LEAST, OUTLIERS_AROUND_MOST, NULL,
     "neighbours of a point cloud's point that are asked; more takes larger specks"},
    OP_PIECE,
    {0}};

const struct op op_outliers = {
    .name = "outliers",
    .key = "x",
    .title = "dropping stray points",
    .undo = "drop stray points",
    .help = "drop stray points",
    .example = "outliers sigma=2",
    .manual =
        "A point is a stray when it stands farther from its neighbours than these do from theirs, "
        "by more than is usual in the piece; so a part of the scan with wider spacing stays. In a "
        "point cloud that is the mean distance to its nearest points, and specks of fewer points "
        "than are asked go too; where strays fill the air, the piece's own spacing decides. In a "
        "mesh it is the length of a vertex's edges: spikes go with their triangles, and points "
        "that no triangle uses; floating bits are what \"dust\" is for. Strays nearer than about "
        "two spacings to the surface are not told from it: \"smooth\" is for those.",
    .params = params,
    .run = outliers_run,
    .changes = true,
};
