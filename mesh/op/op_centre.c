#include <stdlib.h>

#include "core/job.h"
#include "core/mass.h"
#include "op/placing.h"

enum { OF_BOX, OF_MASS };
enum { TO_FLOOR, TO_ZERO };

static enum status find_middle(const struct op_call *call, struct vec min, struct vec max,
                               struct vec *middle)
{
    *middle = vec_scale(vec_add(min, max), 0.5);
    if (op_value(call, "of")->choice == OF_BOX)
        return STATUS_OK;
    const struct mesh **mesh;
    size_t count;
    struct mass mass = {0};
    enum status status = placing_meshes(call, &mesh, &count);
    if (status != STATUS_OK)
        return status;
    status = mass_find(mesh, count, &mass, call->job);
    free(mesh);
    if (status == STATUS_OK && mass.kind != MASS_SOLID)
        job_note(call->job, "not a closed solid: the centre of mass is that of its %s",
                 mass.kind == MASS_SURFACE ? "surface" : "points");
    *middle = mass.centre;
    return status;
}

static enum status centre_run(struct op_call *call)
{
    struct vec min, max, middle;
    enum status status = placing_box(call, &min, &max);
    if (status == STATUS_OK)
        status = find_middle(call, min, max, &middle);
    if (status != STATUS_OK)
        return status;
    bool floor = op_value(call, "to")->choice == TO_FLOOR;
    struct vec by = vec(-middle.x, -middle.y, floor ? -min.z : -middle.z);
    struct motion motion = motion_shift(by);
    status = placing_move(call, &motion);
    by = placing_tidy(by);
    return status == STATUS_OK
               ? placing_tell_box(call, "shifted by %.6g, %.6g, %.6g mm", by.x, by.y, by.z)
               : status;
}

static const struct param params[] = {
    {"of", PARAM_CHOICE, OPTIONAL, "box", 0, 0, "box mass", "which middle: of the box, or of mass"},
    {"to", PARAM_CHOICE, POSITIONAL, "floor", 0, 0, "floor zero",
     "above 0,0 with the lowest point on z = 0, or the middle to 0,0,0"},
    OP_PIECE,
    {0}};

const struct op op_centre = {
    .name = "centre",
    .key = "Z",
    .title = "centring",
    .undo = "centre",
    .help = "shift the middle to the world's zero, or above it on the floor",
    .example = "centre of=mass to=floor",
    .manual =
        "Shifts the chosen pieces together, without turning them: the middle of the box around "
        "them, or their centre of mass, comes above 0,0 and their lowest point on the floor "
        "z = 0; with to=zero the middle comes to 0,0,0 itself.",
    .params = params,
    .run = centre_run,
    .changes = true,
};
