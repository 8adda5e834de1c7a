#include "core/job.h"
#include "op/op.h"
#include "surface/dust.h"

static enum status make(const struct op_call *call, const struct mesh *mesh, struct mesh **out,
                        struct job *job)
{
    const struct value *smaller = op_value(call, "smaller");
    struct dust_report report;
    *out = dust(mesh, (struct dust_limit){smaller->share, smaller->number}, &report, job);
    if (!*out)
        return job_status(job);
    if (report.components)
        job_note(job, "%zu floating bit%s gone: %zu triangles, %.4g mm2; %zu piece%s of surface left",
                 report.components, report.components == 1 ? "" : "s", report.triangles, report.area,
                 report.left, report.left == 1 ? "" : "s");
    else
        job_note(job, "no floating bits that small; %zu piece%s of surface", report.left,
                 report.left == 1 ? "" : "s");
    return STATUS_OK;
}

static enum status dust_run(struct op_call *call)
{
    return op_each(call, make);
}

static const struct param params[] = {
    {"smaller", PARAM_SIZE, POSITIONAL, "1%", 0, 0, NULL,
     "bits smaller than that go: a share of the largest one's area, or a length their box must have"},
    OP_PIECE,
    {0}};

const struct op op_dust = {
    .name = "dust",
    .key = "b",
    .title = "dropping floating bits",
    .undo = "drop floating bits",
    .help = "drop floating bits",
    .example = "dust smaller=5%",
    .manual = "A bit is a part of the surface that shares no edge with the rest. Bits with less than "
              "the given share of the largest one's area go, or those whose box has a shorter "
              "diagonal than the given length. The largest always stays. Points that no triangle "
              "uses go too.",
    .params = params,
    .run = dust_run,
    .changes = true,
};
