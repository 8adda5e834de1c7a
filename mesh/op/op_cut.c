#include "core/job.h"
#include "op/op.h"
#include "solid/cut.h"

enum { KEEP_FRONT }; /* else both */

static void tell(const struct cut_report *report, bool cap, bool triangles, struct job *job)
{
    if (!triangles)
        job_note(job, "%zu points cut off", report->removed);
    else if (report->removed == 0 && report->split == 0)
        job_note(job, "the plane cuts nothing off");
    else if (!cap)
        job_note(job, "%zu triangles cut off, %zu cut through; the cut is left open",
                 report->removed, report->split);
    else
        job_note(job, "%zu triangles cut off, %zu cut through; %zu contour%s capped, %.5g mm2",
                 report->removed, report->split, report->contours, report->contours == 1 ? "" : "s",
                 report->cap_area);
    if (report->open_edges)
        job_note(job,
                 "%zu edges of the cut belong to no closed contour and stay open: the surface has "
                 "holes there, or faces that disagree; \"fill\" or \"orient\" first",
                 report->open_edges);
}

static struct cut_plane plane_of(const struct op_call *call)
{
    const double *p = op_value(call, "through")->vec, *n = op_value(call, "normal")->vec;
    return (struct cut_plane){vec(p[0], p[1], p[2]), vec(n[0], n[1], n[2])};
}

static enum status make(const struct op_call *call, const struct mesh *mesh, struct mesh **out,
                        struct job *job)
{
    const struct cut_plane plane = plane_of(call);
    bool cap = op_value(call, "cap")->choice != 0;
    struct cut_report report;
    enum status status = cut_mesh(mesh, &plane, cap, out, &report, job);
    if (status == STATUS_OK)
        tell(&report, cap, mesh_triangles(mesh) > 0, job);
    return status;
}

/* Adds what the cut takes off piece i as a piece of its own. */
static enum status add_rest(struct op_call *call, size_t i)
{
    const struct piece *piece = call->in->piece[i];
    struct cut_plane plane = plane_of(call);
    plane.normal = vec_scale(plane.normal, -1);
    struct mesh *rest = NULL;
    enum status status =
        cut_mesh(piece->mesh, &plane, op_value(call, "cap")->choice != 0, &rest, NULL, call->job);
    if (status == STATUS_REFUSED) { /* nothing was taken off */
        job_forgive(call->job);
        return STATUS_OK;
    }
    if (status != STATUS_OK)
        return status;
    struct piece *added = piece_new_like(piece, rest);
    return added ? scene_add(call->out, added, call->job)
                 : job_fail_memory(call->job, sizeof *added);
}

static enum status cut_run(struct op_call *call)
{
    enum status status = op_each(call, make);
    if (op_value(call, "keep")->choice == KEEP_FRONT)
        return status;
    for (size_t i = op_chosen(call, 0); i < call->in->count && status == STATUS_OK;
         i = op_chosen(call, i + 1))
        status = add_rest(call, i);
    return status;
}

static const struct param params[] = {
    {"through", PARAM_VEC, REQUIRED, NULL, 0, 0, NULL, "a point of the plane"},
    {"normal", PARAM_DIRECTION, OPTIONAL, "0,0,1", 0, 0, NULL,
     "square to the plane, towards the side that is kept"},
    {"keep", PARAM_CHOICE, OPTIONAL, "front", 0, 0, "front both",
     "the side the normal points to, or both: the other becomes a new piece"},
    {"cap", PARAM_FLAG, OPTIONAL, "yes", 0, 0, NULL, "close the cut with a flat face"},
    OP_PIECE,
    {0}};

const struct op op_cut = {
    .name = "cut",
    .key = "c",
    .title = "cutting",
    .undo = "cut",
    .help = "cut flat with a plane",
    .example = "cut through=@ normal=z",
    .manual =
        "Keeps what lies on the side of the plane that the normal points to, and closes the cut "
        "with a flat face that is marked as made. A closed surface stays closed wherever the plane "
        "passes, through vertices, edges and faces too; holes and islands in the cut are minded, "
        "and colours are mixed along it. Vertices nearer to the plane than their numbers can tell "
        "(12 nm at 100 mm) count as lying in it. Where the surface is open, contours that close "
        "are capped and the rest is reported.",
    .params = params,
    .run = cut_run,
    .tool = OP_PLANE,
    .changes = true,
};
