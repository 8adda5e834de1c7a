#include <stdlib.h>

#include "core/job.h"
#include "op/op.h"
#include "scan/fuse.h"

enum { LOST_FEW = 20 }; /* samples that are not worth a note */

/* Of all; where they stand on no walls fewer are strays and what edges smear. */
static const double lost_share = 0.01;

struct shown { /* the pieces that are fused */
    const struct mesh **mesh;
    size_t *piece; /* their indices in the scene */
    uint8_t *turned;
    size_t count;
};

static void release(struct shown *shown)
{
    free(shown->mesh);
    free(shown->piece);
    free(shown->turned);
}

static enum status list_shown(const struct op_call *call, struct shown *out)
{
    size_t n = call->in->count;
    *out = (struct shown){malloc((n + 1) * sizeof *out->mesh), malloc((n + 1) * sizeof *out->piece),
                          calloc(n + 1, 1), 0};
    if (!out->mesh || !out->piece || !out->turned)
        return job_fail_memory(call->job, n * 2 * sizeof *out->mesh);
    for (size_t i = 0; i < n; i++)
        if (!call->in->piece[i]->hidden) {
            out->mesh[out->count] = call->in->piece[i]->mesh;
            out->piece[out->count++] = i;
        }
    if (out->count == 0)
        return job_fail(call->job, STATUS_REFUSED,
                        n ? "all pieces are hidden: show those to fuse"
                          : "there is no piece to fuse; open the scans "
                            "first");
    return STATUS_OK;
}

static void tell_walls(struct job *job, const struct fuse_report *report)
{
    const struct fuse_lost *lost = &report->lost;
    if (report->coarser > 0)
        job_note(job,
                 "finer than the scans' %.3g mm, or walls too thin for it would have been lost",
                 report->coarser);
    if (lost->samples < LOST_FEW)
        return;
    if (!(lost->thickness > 0)) {
        if ((double)lost->samples > lost_share * (double)report->samples)
            job_note(
                job,
                "%zu of %zu samples are not in the surface, one near %.5g, %.5g, %.5g, and most "
                "stand on no wall whose other side was measured: what is there came out "
                "thicker than it is, or the poses or normals are not right; scan it from more "
                "sides, or look at the pieces there",
                lost->samples, report->samples, lost->at.x, lost->at.y, lost->at.z);
        return;
    }
    job_note(job,
             "%zu of %zu samples are not in the surface: they stand on walls of about %.2g mm, too "
             "thin for a spacing of %.3g mm, one near %.5g, %.5g, %.5g; spacing=%.2g keeps them",
             lost->samples, report->samples, lost->thickness, report->spacing, lost->at.x,
             lost->at.y, lost->at.z, lost->thickness / FUSE_WALL);
}

/* "3 bridges" */
static void tell_handles(struct job *job, const struct handles *handles)
{
    if (handles->cut > 0)
        job_note(job, "%zu bridge%s across gaps cut, which nothing measured shows", handles->cut,
                 handles->cut == 1 ? "" : "s");
    if (handles->filled > 0)
        job_note(job, "%zu tunnel%s filled, which nothing measured shows", handles->filled,
                 handles->filled == 1 ? "" : "s");
}

/* One surface alone. */
static void tell_single(const struct op_call *call, const struct shown *shown,
                        const struct fuse_report *report)
{
    if (report->parts == 1)
        job_note(call->job,
                 "it is one surface, so nothing was averaged: its points were sampled anew%s%s",
                 op_value(call, "closed")->choice ? ", and it was closed where it was open" : "",
                 shown->count < call->in->count ? "; to fuse the scans, \"show\" them" : "");
    else
        job_note(call->job, "it was taken as %zu scans, which lie in it as shells of their own",
                 report->parts);
}

static void tell(const struct op_call *call, const struct shown *shown,
                 const struct fuse_report *report, const struct mesh *mesh)
{
    struct job *job = call->job;
    double percent = report->area > 0 ? 100 / report->area : 0;
    job_note(job,
             "%zu piece%s fused: %zu triangles at a spacing of %.3g mm; %.3g %% of the area "
             "measured, %.3g %% invented",
             shown->count, shown->count == 1 ? "" : "s", mesh_triangles(mesh), report->spacing,
             percent * (report->area - report->invented - report->made),
             percent * report->invented);
    if (report->made > 0)
        job_note(job, "%.3g %% is from what was made on purpose, such as caps, and stays marked so",
                 percent * report->made);
    if (shown->count == 1)
        tell_single(call, shown, report);
    if (op_value(call, "spacing")->typed && report->scans > 2 * report->spacing)
        job_note(job,
                 "the scans' points stand %.3g mm apart: what is between them at a finer spacing "
                 "is invented",
                 report->scans);
    if (report->before > 0)
        job_note(job,
                 "%zu triangles that were invented before were left out, since no scan saw them: "
                 "what is there now is invented anew",
                 report->before);
    if (report->noise > 0)
        job_note(job,
                 "coarser than the scans' %.3g mm, since their points scatter by %.2g mm about the "
                 "surface",
                 report->finer, report->noise);
    for (size_t i = 0; i < shown->count; i++)
        if (shown->turned[i])
            job_note(job, "%s faced the other way and was taken the right way round",
                     call->in->piece[shown->piece[i]]->name);
    if (report->strays > 0)
        job_note(job, "%zu stray samples left out: little around them supports them",
                 report->strays);
    if (report->jumps > 0)
        job_note(job, "%zu triangles across jumps of depth were left out", report->jumps);
    tell_handles(job, &report->handles);
    if (report->bits > 0)
        job_note(job, "%zu bit%s of surface of which hardly anything was measured left out",
                 report->bits, report->bits == 1 ? "" : "s");
    if (report->reverted > 0)
        job_note(job, "%zu vertices are coarser than the rest, where triangles would have crossed",
                 report->reverted);
    tell_walls(job, report);
}

/* The fused piece is added; those it came from are hidden, not lost. */
static enum status publish(struct op_call *call, const struct shown *shown, struct mesh *mesh)
{
    const struct piece *first = call->in->piece[shown->piece[0]];
    enum colour_kind colour = mesh->attribute[ATTRIBUTE_colour] ? COLOUR_VERTEX : COLOUR_NONE;
    struct piece *piece = piece_new(mesh, "fused");
    if (!piece)
        return job_fail_memory(call->job, sizeof *piece);
    piece->unit = first->unit;
    piece->unit_source = first->unit_source;
    piece->colour = colour;
    enum status status = scene_add(call->out, piece, call->job);
    for (size_t i = 0; i < shown->count && status == STATUS_OK; i++)
        status = scene_hide(call->out, shown->piece[i], true, call->job);
    call->out->selected = 0;
    return status;
}

static enum status fuse_run(struct op_call *call)
{
    const struct value *spacing = op_value(call, "spacing");
    const struct fuse_options options = {spacing->given ? spacing->number : 0,
                                         op_value(call, "closed")->choice != 0};
    struct shown shown;
    struct fuse_report report;
    struct mesh *mesh = NULL;
    enum status status = list_shown(call, &shown);
    if (status == STATUS_OK)
        status = fuse(shown.mesh, shown.count, &options, &mesh, &report, shown.turned, call->job);
    if (status == STATUS_OK) {
        tell(call, &shown, &report, mesh);
        status = publish(call, &shown, mesh);
    }
    release(&shown);
    return status;
}

static const struct param params[] = {
    {"spacing", PARAM_LENGTH, OPTIONAL, "auto", 1e-4, 1e6, NULL,
     "how far apart the new vertices are, about; auto: as the scans' are, or as thin walls need"},
    {"closed", PARAM_FLAG, OPTIONAL, "yes", 0, 0, NULL,
     "yes: a closed solid, unseen places invented; no: open where no scan saw"},
    {0}};

const struct op op_fuse = {
    .name = "fuse",
    .key = "U",
    .title = "fusing",
    .undo = "fuse",
    .help = "make one surface from all shown pieces",
    .example = "fuse spacing=0.5mm closed=no",
    .manual =
        "The pieces must lie registered in one frame: range images, meshes or clouds, which may "
        "overlap, be noisy and open. Where several saw a place, each counts by how squarely it saw "
        "it, by its confidence and by its distance from its own rim; noise is averaged down, edges "
        "are kept as far as the scans show them. The result is closed, without crossings; where "
        "nothing was measured it is the fairest surface that spans the rim, flat within a flat "
        "rim; with closed=no it is open there. Bridges across narrow gaps and tunnels that nothing "
        "measured shows are taken out, and told; what was measured all round stays. Walls thinner "
        "than one and a half spacings can be lost: spacing=auto is chosen fine enough for those "
        "that the scans show, and what is lost all the same is told with the spacing that would "
        "keep it. Where points scatter about their surface farther than they stand apart it is "
        "chosen wider, and told. Each triangle is marked as measured or invented, and the invented "
        "share is reported; what was invented in the pieces before, by fill or an earlier fuse, is "
        "left out of them, and what was made on purpose, such as the cap of a cut, stays marked as "
        "made. Colours come along, glare counting little where another scan saw the place. The "
        "pieces are hidden afterwards, not lost.",
    .params = params,
    .run = fuse_run,
    .changes = true,
};
