#include "core/job.h"
#include "op/op.h"
#include "surface/weld_near.h"

static enum status make(const struct op_call *call, const struct mesh *mesh, struct mesh **out,
                        struct job *job)
{
    struct weld_report report;
    double gap = op_value(call, "gap")->number;
    *out = weld_near(mesh, gap, op_value(call, "rims")->choice != 0, &report, job);
    if (!*out)
        return job_status(job);
    if (mesh_triangles(mesh) > 0 && mesh_triangles(*out) == 0) {
        mesh_free(*out);
        *out = NULL;
        return job_fail(job, STATUS_REFUSED,
                        "a gap of %.4g mm would join all of it until no triangle is left; choose a "
                        "smaller gap=",
                        gap);
    }
    if (report.joined == 0 && report.dropped == 0)
        job_note(job, "no vertices to join");
    else
        job_note(job, "%zu vertices joined to others; %zu triangles collapsed and went",
                 report.joined, report.dropped);
    return STATUS_OK;
}

static enum status weld_run(struct op_call *call)
{
    return op_each(call, make);
}

static const struct param params[] = {
    {"gap", PARAM_LENGTH, POSITIONAL, "0", 0, 1e6, NULL,
     "vertices no farther apart are joined; 0: those in the same place"},
    {"rims", PARAM_FLAG, OPTIONAL, "no", 0, 0, NULL,
     "join only vertices on open rims: sews cracks and spares detail"},
    OP_PIECE,
    {0}};

const struct op op_weld = {
    .name = "weld",
    .key = "w",
    .title = "joining vertices",
    .undo = "join vertices",
    .help = "join vertices",
    .example = "weld gap=0.01mm",
    .manual =
        "Vertices are taken in their order; each joins the nearest earlier one within the gap "
        "that has not joined another itself, so that none moves farther than the gap, and "
        "colours are averaged. Triangles that collapse are dropped. With rims=yes a gap "
        "wider than the detail can be used to close cracks between patches.",
    .params = params,
    .run = weld_run,
    .changes = true,
};
