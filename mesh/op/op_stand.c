#include <stdlib.h>

#include "core/job.h"
#include "op/placing.h"

static enum status stand_run(struct op_call *call)
{
    const struct mesh **mesh;
    size_t count;
    enum status status = placing_meshes(call, &mesh, &count);
    if (status != STATUS_OK)
        return status;
    const struct value *value = op_value(call, "on");
    struct vec on = vec(value->vec[0], value->vec[1], value->vec[2]);
    struct motion motion;
    struct stand_report report;
    status = stand_find(mesh, count, value->given ? &on : NULL, &motion, &report, call->job);
    free(mesh);
    if (status == STATUS_OK)
        status = placing_move(call, &motion);
    if (status == STATUS_OK && report.area > 0)
        placing_tell_standing(&report, call->job);
    else if (status == STATUS_OK)
        job_note(call->job, "lies flat");
    return status;
}

static const struct param params[] = {
    {"on", PARAM_VEC, POSITIONAL, NULL, 0, 0, NULL,
     "a point on the side that is to go down; the side it rests on lowest"},
    OP_PIECE,
    {0}};

const struct op op_stand = {
    .name = "stand",
    .key = "P",
    .title = "standing it on the floor",
    .undo = "stand on the floor",
    .help = "stand on the floor z = 0",
    .manual =
        "Turns the chosen pieces together so that a flat side, or the side it can rest on, goes "
        "down, and puts them on z = 0 with the middle of their box above 0,0. A part rests on "
        "the faces of its convex hull; without a point the one is taken on which its centre "
        "of mass is lowest, so where it comes to rest when nudged. With a point, the face "
        "that lies best against the surface there; a point far off names the side that "
        "faces it. The note tells how far it may be tilted before it tips.",
    .params = params,
    .run = stand_run,
    .changes = true,
};
