#include <stdlib.h>

#include "core/job.h"
#include "op/op.h"
#include "scan/tint.h"

enum { FROM_PIECES, FROM_MISSING }; /* as the choices stand */

static bool is_chosen(const struct op_call *call, size_t piece)
{
    size_t i = op_chosen(call, 0);
    while (i < piece)
        i = op_chosen(call, i + 1);
    return i == piece;
}

/* The pieces with colours that are not coloured themselves, hidden ones too: those that were fused
 * are. `out` has room for all. */
static size_t list_scans(const struct op_call *call, const struct mesh **out)
{
    size_t count = 0;
    for (size_t i = 0; i < call->in->count; i++) {
        const struct mesh *mesh = call->in->piece[i]->mesh;
        if (mesh_attribute(mesh, ATTRIBUTE_colour) && mesh_vertices(mesh) > 0 &&
            !is_chosen(call, i))
            out[count++] = mesh;
    }
    return count;
}

static double share_of(size_t part, const struct mesh *mesh)
{
    return 100 * (double)part / (double)mesh_vertices(mesh);
}

static void tell(const struct tint_report *report, const struct mesh *mesh, struct job *job)
{
    job_note(job, "%.3g %% of its vertices have a scan's colour now, from within %.3g mm",
             share_of(report->seen, mesh), report->within);
    if (report->spread > 0)
        job_note(job, "%.3g %% no scan saw: they have the colours around them",
                 share_of(report->spread, mesh));
    if (report->left > 0)
        job_note(job, "%.3g %% no scan saw: they %s", share_of(report->left, mesh),
                 mesh_attribute(mesh, ATTRIBUTE_colour) ? "keep the colour they had"
                                                        : "are white, with no colour around them");
}

static enum status from_pieces(const struct op_call *call, const struct mesh *mesh,
                               struct mesh **out, struct job *job)
{
    const struct value *within = op_value(call, "within");
    const struct mesh **scan = malloc((call->in->count + 1) * sizeof *scan);
    struct tint_report report;
    if (!scan)
        return job_fail_memory(job, call->in->count * sizeof *scan);
    size_t scans = list_scans(call, scan);
    enum status status = STATUS_OK;
    if (mesh_vertices(mesh) == 0)
        status = job_fail(job, STATUS_REFUSED, "it has no surface to colour");
    else if (scans == 0)
        status = job_fail(job, STATUS_REFUSED,
                          "no other piece has colours: open the scans, or choose the one to colour "
                          "with piece=");
    else
        status =
            tint_from(mesh, scan, scans, within->given ? within->number : 0, out, &report, job);
    free(scan);
    if (status == STATUS_OK)
        tell(&report, mesh, job);
    return status;
}

static enum status missing(const struct op_call *call, const struct mesh *mesh, struct mesh **out,
                           struct job *job)
{
    struct tint_report report;
    (void)call;
    enum status status = tint_missing(mesh, out, &report, job);
    if (status != STATUS_OK)
        return status;
    if (report.spread + report.left == 0)
        job_note(job, "nothing is missing: every vertex touches what was measured");
    if (report.spread > 0)
        job_note(job, "%zu vertices that were not measured have the colours around them",
                 report.spread);
    if (report.left > 0)
        job_note(
            job,
            "%zu vertices keep theirs: what they are part of touches nothing that was measured",
            report.left);
    return STATUS_OK;
}

/* Where there were no colours, there are now. */
static enum status know_colours(struct op_call *call)
{
    size_t count = call->in->count;
    for (size_t i = op_chosen(call, 0); i < count; i = op_chosen(call, i + 1)) {
        const struct piece *is = call->out->piece[i];
        struct piece *piece = piece_new_like(is, mesh_share(is->mesh));
        if (!piece)
            return job_fail_memory(call->job, sizeof *piece);
        piece->colour = COLOUR_VERTEX;
        scene_replace(call->out, i, piece);
    }
    return STATUS_OK;
}

static enum status tint_run(struct op_call *call)
{
    bool from = op_value(call, "from")->choice == FROM_PIECES;
    enum status status = op_each(call, from ? from_pieces : missing);
    return status == STATUS_OK ? know_colours(call) : status;
}

static const struct param params[] = {
    {"from", PARAM_CHOICE, REQUIRED_POSITIONAL, NULL, 0, 0, "pieces missing",
     "pieces: take the colours of all other pieces; missing: fill in where there are none"},
    {"within", PARAM_LENGTH, OPTIONAL, "auto", 1e-4, 1e6, NULL,
     "how far off the surface their points count; auto: six of their spacings"},
    OP_PIECE,
    {0}};

const struct op op_tint = {
    .name = "tint",
    .title = "colouring",
    .undo = "tint",
    .help = "colour it from the scans, or fill in colours that are missing",
    .example = "tint from=pieces",
    .manual =
        "from=pieces: each vertex takes the colour of the points of the other pieces near it that "
        "face as it does, hidden pieces too, since those that were fused are. The nearest count "
        "most; a place seen squarely counts more than one seen at a glance, glare next to nothing "
        "where another scan saw the place. The pieces must lie registered. What none of them saw "
        "keeps the colour it has; a piece without any takes it from what is around. tint missing: "
        "what was invented or made (filled holes, caps, bored walls, what a piece without colours "
        "brought along) takes the colours of the measured surface around it. Which is which is not "
        "changed by that, and a ply file keeps it. Colours are one a vertex: colour first, then "
        "decimate, which minds them.",
    .params = params,
    .run = tint_run,
    .changes = true,
};
