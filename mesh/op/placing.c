#include "op/placing.h"

#include <string.h>

#include "core/job.h"
#include "core/topology.h"

enum status placing_box(const struct op_call *call, struct vec *min, struct vec *max)
{
    enum status status = op_any_chosen(call);
    const struct scene *in = call->in;
    bool any = false;
    for (size_t i = op_chosen(call, 0); status == STATUS_OK && i < in->count; i = op_chosen(call, i + 1)) {
        const struct bounds *b = mesh_bounds(in->piece[i]->mesh, call->job);
        if (!b)
            return job_status(call->job);
        if (mesh_vertices(in->piece[i]->mesh) == 0)
            continue;
        *min = any ? vec(fmin(min->x, b->min.x), fmin(min->y, b->min.y), fmin(min->z, b->min.z)) : b->min;
        *max = any ? vec(fmax(max->x, b->max.x), fmax(max->y, b->max.y), fmax(max->z, b->max.z)) : b->max;
        any = true;
    }
    if (status == STATUS_OK && !any)
        return job_fail(call->job, STATUS_REFUSED, "\"%s\": the piece is empty", call->op->name);
    return status;
}

enum status placing_move_piece(struct op_call *call, size_t i, const struct motion *motion)
{
    struct mesh *moved = motion_mesh(motion, call->in->piece[i]->mesh, call->job);
    struct piece *piece = moved ? piece_new_like(call->in->piece[i], moved) : NULL;
    if (!piece)
        return moved ? job_fail_memory(call->job, sizeof *piece) : job_status(call->job);
    scene_replace(call->out, i, piece);
    return STATUS_OK;
}

enum status placing_move(struct op_call *call, const struct motion *motion)
{
    const struct scene *in = call->in;
    enum status status = STATUS_OK;
    for (size_t i = op_chosen(call, 0); i < in->count && status == STATUS_OK;
         i = op_chosen(call, i + 1))
        status = placing_move_piece(call, i, motion);
    return status;
}

enum status placing_move_rigid(struct op_call *call, size_t i, const struct rigid *rigid)
{
    struct motion motion = {.scale = 1, .shift = rigid->shift};
    memcpy(motion.turn, rigid->turn, sizeof motion.turn);
    return placing_move_piece(call, i, &motion);
}

enum status placing_pair(const struct op_call *call, size_t *moving, size_t *fixed)
{
    double a = op_value(call, "moving")->number, b = op_value(call, "fixed")->number;
    if (a < 1 || b < 1)
        return job_fail(call->job, STATUS_USAGE,
                        "\"%s\": %s must be one piece's number, not all; register several pieces "
                        "with \"align\"",
                        call->op->name, a < 1 ? "moving" : "fixed");
    if (a == b)
        return job_fail(call->job, STATUS_USAGE,
                        "\"%s\": piece %.0f cannot be fitted to itself; name two: moving=2 fixed=1",
                        call->op->name, a);
    *moving = (size_t)a - 1;
    *fixed = (size_t)b - 1;
    return STATUS_OK;
}

void placing_tell(const struct op_call *call, size_t i, const struct rigid *rigid)
{
    const struct bounds *box = mesh_bounds(call->in->piece[i]->mesh, call->job);
    struct rigid rest = rigid_rest();
    struct vec centre = box ? box->centre : vec(0, 0, 0);
    struct vec by = vec_sub(rigid_apply(rigid, centre), centre);
    job_note(call->job, "moved by %.4g mm, turned by %.3g degrees", vec_length(by),
             rigid_angle(rigid, &rest) * 180 / 3.14159265358979323846);
}
