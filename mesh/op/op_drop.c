#include "op/op.h"
#include "core/job.h"
#include "core/topology.h"
#include "surface/bit.h"

static const double near_share = 0.05; /* of the piece's size */

static void tell(const struct op_call *call, size_t piece, const struct bit_report *r)
{
    const struct mesh *mesh = call->in->piece[piece]->mesh;
    if (r->taken == 0)
        job_note(call->job, "%s: all of it hangs together, there is nothing else to drop",
                 call->in->piece[piece]->name);
    else if (mesh_triangles(mesh))
        job_note(call->job, "%s: %zu triangle%s gone, %.4g mm2; %zu stay",
                 call->in->piece[piece]->name, r->taken, r->taken == 1 ? "" : "s", r->area,
                 r->left);
    else
        job_note(call->job, "%s: %zu point%s gone; %zu stay", call->in->piece[piece]->name,
                 r->taken, r->taken == 1 ? "" : "s", r->left);
    if (r->taken > r->left && !op_value(call, "others")->choice)
        job_note(call->job, "what went was no small bit but most of it; if it is the part that was "
                            "meant to stay: undo, then others=yes");
}

/* Where somebody mistyped a place, what is nearest to it may not be what was meant. */
static enum status tell_far(const struct op_call *call, size_t piece, const struct nearest *at)
{
    const struct mesh *mesh = call->in->piece[piece]->mesh;
    const struct bounds *bounds = mesh_bounds(mesh, call->job);
    if (!bounds)
        return job_status(call->job);
    struct vec is = mesh_world(mesh, at->point);
    if (at->distance > near_share * vec_length(bounds->size))
        job_note(call->job,
                 "that place lies %.4g mm off it, the nearest of which is at "
                 "%.5g, %.5g, %.5g",
                 at->distance, is.x, is.y, is.z);
    return STATUS_OK;
}

static enum status drop_run(struct op_call *call)
{
    size_t piece = 0;
    struct nearest at;
    struct mesh *rest;
    struct bit_report report;
    enum status status = op_nearest(call, true, &piece, &at);
    if (status == STATUS_OK && at.triangle == NO_INDEX)
        return job_fail(call->job, STATUS_REFUSED, "\"drop\": there is nothing in the piece");
    if (status == STATUS_OK)
        status = bit_drop(call->in->piece[piece]->mesh, at.triangle,
                          op_value(call, "others")->choice != 0, &rest, &report, call->job);
    if (status != STATUS_OK)
        return status;
    struct piece *made = piece_new_like(call->in->piece[piece], rest);
    if (!made)
        return job_fail_memory(call->job, sizeof *made);
    scene_replace(call->out, piece, made);
    tell(call, piece, &report);
    return tell_far(call, piece, &at);
}

static const struct param params[] = {
    {"at", PARAM_PLACE, REQUIRED_POSITIONAL, NULL, 0, 0, NULL, "a point on the bit, or near it"},
    {"others", PARAM_FLAG, OPTIONAL, "no", 0, 0, NULL, "drop all else of that piece instead"},
    OP_PIECE,
    {0}};

const struct op op_drop = {
    .name = "drop",
    .key = "X",
    .title = "dropping a bit",
    .undo = "drop a bit",
    .help = "drop the floating bit at a point",
    .example = "drop at=@",
    .manual = "Of all chosen pieces the surface nearest to the point is taken, and what hangs "
              "together with it there goes: across edges in a mesh, and in a point cloud over gaps "
              "of up to three times its spacing. With others=yes that stays and the rest of its "
              "piece goes. On the screen the point is put on the picture.",
    .params = params,
    .run = drop_run,
    .tool = OP_POINT,
    .changes = true,
};
