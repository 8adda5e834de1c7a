#include "op/placing.h"

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

enum status placing_move(struct op_call *call, const struct motion *motion)
{
    const struct scene *in = call->in;
    for (size_t i = op_chosen(call, 0); i < in->count; i = op_chosen(call, i + 1)) {
        struct mesh *moved = motion_mesh(motion, in->piece[i]->mesh, call->job);
        struct piece *piece = moved ? piece_new_like(in->piece[i], moved) : NULL;
        if (!piece)
            return moved ? job_fail_memory(call->job, sizeof *piece) : job_status(call->job);
        scene_replace(call->out, i, piece);
    }
    return STATUS_OK;
}
