#include <math.h>

#include "core/job.h"
#include "core/weld.h"
#include "op/on_table.h"
#include "op/op.h"
#include "surface/fill.h"
#include "surface/fill_one.h"

static const char *plural(size_t count)
{
    return count == 1 ? "" : "s";
}

static void tell_left(const struct fill_report *report, enum fill_left reason, struct job *job)
{
    static const char *const why[FILL_LEFT_REASONS] = {
        [FILL_LEFT_LONGER] = "longer than asked for",
        [FILL_LEFT_UNENDED] = ("the rim runs out at a non-manifold or misoriented edge; \"orient\" "
                               "or take the triangles there away first"),
        [FILL_LEFT_DOUBLE] = "filling would double a triangle",
    };
    size_t left = report->left[reason];
    struct vec at = report->left_at[reason];
    if (left > 0)
        job_note(job, "%zu hole%s left open, %s; the longest, %.5g mm round, is at %.6g,%.6g,%.6g",
                 left, plural(left), why[reason], report->left_longest[reason], at.x, at.y, at.z);
}

static void tell(const struct fill_report *report, struct job *job)
{
    size_t left = 0;
    for (int i = 0; i < FILL_LEFT_REASONS; i++)
        left += report->left[i];
    if (report->filled > 0)
        job_note(
            job, "%zu hole%s filled, %.5g mm of rim: %.5g mm2 invented, %.3g %% of the surface",
            report->filled, plural(report->filled), report->rim, report->area, 100 * report->share);
    else
        job_note(job, left > 0 ? "no hole filled" : "there are no holes");
    if (report->islands > 0)
        job_note(job, "%zu island%s joined to the hole around it", report->islands,
                 plural(report->islands));
    if (report->crossed > 0)
        job_note(
            job,
            "%zu of them run%s along triangles that face either way: the new ones face as most "
            "of the rim does; \"orient\" the piece",
            report->crossed, report->crossed == 1 ? "s" : "");
    if (report->rough > 0)
        job_note(job, "%zu of them could not be made smooth: the rim has no shape to go on",
                 report->rough);
    if (report->retreated > 0)
        job_note(job, "%zu of them in another shape than asked for, which would cross the surface",
                 report->retreated);
    if (report->crossing > 0)
        job_note(job,
                 "%zu of them cross%s the surface or themselves in every shape that was tried, one "
                 "at %.6g,%.6g,%.6g; \"mend\" the piece",
                 report->crossing, report->crossing == 1 ? "es" : "", report->crossing_at.x,
                 report->crossing_at.y, report->crossing_at.z);
    for (int i = 0; i < FILL_LEFT_REASONS; i++)
        tell_left(report, (enum fill_left)i, job);
}

static enum status make(const struct op_call *call, const struct mesh *mesh, struct mesh **out,
                        struct job *job)
{
    const struct value *at = op_value(call, "at");
    const struct vec place = vec(at->vec[0], at->vec[1], at->vec[2]);
    const struct fill_options options = {
        .longest = op_value(call, "longest")->number,
        .shape = op_value(call, "shape")->choice == 0 ? FILL_FLAT : FILL_SMOOTH,
        .at = at->given ? &place : NULL};
    struct fill_report report;
    if (mesh_triangles(mesh) == 0)
        return job_fail(job, STATUS_REFUSED,
                        "a point cloud has no surface that could have holes; \"fuse\" it first");
    double table = 0;
    enum status status = at->given ? STATUS_OK : on_table_look(mesh, options.longest, &table, job);
    if (status == STATUS_OK)
        status = fill_holes(mesh, &options, out, &report, job);
    if (status != STATUS_OK)
        return status;
    tell(&report, job);
    on_table_tell(table, job);
    return STATUS_OK;
}

/* How far a piece's nearest rim is from the place. */
static enum status rim_distance(const struct op_call *call, size_t piece, double *distance)
{
    const double *at = op_value(call, "at")->vec;
    const struct mesh *mesh = call->in->piece[piece]->mesh;
    struct mesh *joined = mesh->joined ? mesh_share(mesh) : weld_exact(mesh, call->job);
    if (!joined)
        return job_status(call->job);
    enum status status = fill_one_find(joined, vec(at[0], at[1], at[2]), NULL, distance, call->job);
    mesh_free(joined);
    return status;
}

/* Of all chosen pieces the hole nearest to the place. */
static enum status fill_one(struct op_call *call)
{
    double best = INFINITY, distance;
    size_t piece = call->in->count;
    enum status status = op_any_chosen(call);
    for (size_t i = op_chosen(call, 0); status == STATUS_OK && i < call->in->count;
         i = op_chosen(call, i + 1)) {
        status = rim_distance(call, i, &distance);
        if (status == STATUS_OK && distance < best) {
            best = distance;
            piece = i;
        }
    }
    if (status == STATUS_OK && piece == call->in->count)
        return job_fail(call->job, STATUS_REFUSED,
                        "\"fill\": there is no hole near that place, nor anywhere else");
    return status == STATUS_OK ? op_one(call, piece, make) : status;
}

static enum status fill_run(struct op_call *call)
{
    return op_value(call, "at")->given ? fill_one(call) : op_each(call, make);
}

static const struct param params[] = {
    {"longest", PARAM_LENGTH, OPTIONAL, "0", 0, 1e9, NULL,
     "fill holes whose rim is no longer than this; 0: all"},
    {"shape", PARAM_CHOICE, OPTIONAL, "smooth", 0, 0, "flat smooth",
     "smooth: go on as the surface around does; flat: span the rim"},
    {"at", PARAM_PLACE, OPTIONAL, NULL, 0, 0, NULL,
     "only the hole whose rim comes nearest to that point"},
    OP_PIECE,
    {0}};

const struct op op_fill = {
    .name = "fill",
    .key = "f",
    .title = "filling holes",
    .undo = "fill holes",
    .help = "close holes",
    .example = "fill longest=60mm shape=flat",
    .manual =
        "Every closed rim of boundary edges is a hole, also the outer edge of an open sheet: "
        "longest= leaves that, and at= fills one hole alone. A smooth filling is as dense as the "
        "surface around it, bends least and meets the rim without a crease; a flat one has no new "
        "vertices and spans the rim with the least area. A loose piece of surface inside a hole is "
        "joined to the hole's rim. New triangles face as their surroundings do and are marked as "
        "invented; colours are spread from the rim. Where a filling would cross the surface, "
        "another one or itself, it takes a shape that keeps closer to the rim; if none is clear, "
        "that is told, and \"mend\" helps. What cannot be filled is left and named with its place.",
    .params = params,
    .run = fill_run,
    .changes = true,
};
