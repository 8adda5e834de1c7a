#include "core/job.h"
#include "op/op.h"
#include "surface/orient.h"

static void tell(const struct orient_report *r, struct job *job)
{
    if (r->turned)
        job_note(job, "%zu triangle%s turned", r->turned, r->turned == 1 ? "" : "s");
    else
        job_note(job, "all triangles agree and face outward already");
    if (r->hollows)
        job_note(job, "%zu inner surface%s face%s into the hollow %s bound%s", r->hollows,
                 r->hollows == 1 ? "" : "s", r->hollows == 1 ? "s" : "",
                 r->hollows == 1 ? "it" : "they", r->hollows == 1 ? "s" : "");
    if (r->sheets)
        job_note(job, "%zu open patch%s face%s the way most of %s area did", r->sheets,
                 r->sheets == 1 ? "" : "es", r->sheets == 1 ? "s" : "",
                 r->sheets == 1 ? "its" : "their");
    if (r->one_sided)
        job_note(
            job,
            "%zu patch%s with one side only: triangles disagree along %zu edges, and no turning "
            "mends that",
            r->one_sided, r->one_sided == 1 ? "" : "es", r->seams);
}

static enum status make(const struct op_call *call, const struct mesh *mesh, struct mesh **out,
                        struct job *job)
{
    (void)call;
    struct orient_report report;
    *out = orient(mesh, &report, job);
    if (!*out)
        return job_status(job);
    tell(&report, job);
    return STATUS_OK;
}

static enum status orient_run(struct op_call *call)
{
    return op_each(call, make);
}

static const struct param params[] = {OP_PIECE, {0}};

const struct op op_orient = {
    .name = "orient",
    .key = "O",
    .title = "turning triangles outward",
    .undo = "face outward",
    .help = "make triangles agree, and face outward",
    .example = "orient piece=all",
    .manual =
        "Neighbouring triangles are made to agree. Closed surfaces then face outward, those "
        "inside another one into the hollow they bound; a surface that is closed but for some "
        "holes is treated alike, and any other open one keeps the side that most of its area "
        "shows. Nothing is cut: a surface that has only one side stays in disagreement along "
        "a seam, which is reported.",
    .params = params,
    .run = orient_run,
    .changes = true,
};
