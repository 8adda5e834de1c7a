#include "core/job.h"
#include "op/on_table.h"
#include "op/op.h"
#include "solid/mend.h"

static const char *plural(size_t count)
{
    return count == 1 ? "" : "s";
}

static void tell_cleaned(const struct mend_report *r, struct job *job)
{
    if (r->unused)
        job_note(job, "%zu point%s that no triangle uses taken out", r->unused, plural(r->unused));
    if (r->degenerate)
        job_note(job, "%zu triangle%s without area taken out", r->degenerate,
                 plural(r->degenerate));
    if (r->doubled)
        job_note(job, "%zu doubled face%s taken out", r->doubled, plural(r->doubled));
    if (r->joined)
        job_note(job, "%zu vertices of rims joined that all but coincide", r->joined);
    if (r->seams)
        job_note(job, "%zu edge%s of more than two triangles parted", r->seams, plural(r->seams));
    if (r->turned)
        job_note(job, "%zu triangle%s turned", r->turned, plural(r->turned));
    if (r->sheets)
        job_note(job,
                 "%zu open sheet%s with no inside taken out: %zu triangles, the largest at "
                 "%.6g,%.6g,%.6g",
                 r->sheets, plural(r->sheets), r->sheet_triangles, r->sheet_at.x, r->sheet_at.y,
                 r->sheet_at.z);
}

static void tell_cut(const struct mend_report *r, struct job *job)
{
    const struct fill_report *fill = &r->fill;
    if (r->folds)
        job_note(job, "%zu crossing%s where the surface folds over: %zu triangles there made anew",
                 r->folds, plural(r->folds), r->fold_triangles);
    if (fill->filled)
        job_note(job, "%zu hole%s closed, %.5g mm of rim: %.5g mm2 invented", fill->filled,
                 plural(fill->filled), fill->rim, fill->area);
    if (r->crossings)
        job_note(job, "%llu crossing pair%s of triangles parted", (unsigned long long)r->crossings,
                 plural((size_t)r->crossings));
    if (r->inner)
        job_note(job, "%zu triangle%s inside the solid taken out", r->inner, plural(r->inner));
    if (r->aside > 0)
        job_note(job, "crossing triangles were moved by up to %.2g mm, as surfaces nearly coincide",
                 2 * r->aside);
    if (r->parted)
        job_note(job, "parted in %zu vertices where it would only touch itself", r->parted);
}

static void tell(const struct mend_options *options, const struct mend_report *r, struct job *job)
{
    struct vec at = r->left_at;
    if (!r->changed)
        job_note(job, options->open ? "nothing to mend but holes, if any"
                                    : "nothing to mend: it is a solid");
    tell_cleaned(r, job);
    tell_cut(r, job);
    if (r->left)
        job_note(job,
                 "%zu fault%s could not be mended, one at %.6g,%.6g,%.6g; cut the place off, or "
                 "drop it and mend again",
                 r->left, plural(r->left), at.x, at.y, at.z);
}

static enum status make(const struct op_call *call, const struct mesh *mesh, struct mesh **out,
                        struct job *job)
{
    const struct mend_options options = {
        .open = op_value(call, "open")->choice != 0,
        .shape = op_value(call, "shape")->choice == 0 ? FILL_FLAT : FILL_SMOOTH};
    struct mend_report report;
    double table = 0;
    enum status status = options.open ? STATUS_OK : on_table_look(mesh, 0, &table, job);
    if (status == STATUS_OK)
        status = mend(mesh, &options, out, &report, job);
    if (status == STATUS_OK) {
        tell(&options, &report, job);
        on_table_tell(table, job);
    }
    return status;
}

static enum status mend_run(struct op_call *call)
{
    return op_each(call, make);
}

static const struct param params[] = {
    {"open", PARAM_FLAG, OPTIONAL, "no", 0, 0, NULL, "yes: leave holes open, mend everything else"},
    {"shape", PARAM_CHOICE, OPTIONAL, "smooth", 0, 0, "flat smooth",
     "of what closes holes: as fill makes it"},
    OP_PIECE,
    {0}};

const struct op op_mend = {
    .name = "mend",
    .key = "E",
    .title = "mending",
    .undo = "mend",
    .help = "make it a solid that prints",
    .example = "mend open=yes",
    .manual =
        "Takes out unused points, triangles without area, doubled ones and open sheets that have "
        "no inside; makes neighbours agree; closes holes; resolves all crossings exactly and keeps "
        "what bounds the inside: where the surface winds around more than not. So bodies that "
        "overlap become one, and hollows that face inward stay. Where the surface of a scan folds "
        "over itself, the place is cut out and filled. What is not touched stays as it is, with "
        "its colours; what is filled in is marked as invented. With open=yes holes stay open, and "
        "so does what crosses there without being a fold. A single open sheet has no inside and is "
        "refused.",
    .params = params,
    .run = mend_run,
    .changes = true,
};
