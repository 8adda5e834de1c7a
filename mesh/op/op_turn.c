#include "core/job.h"
#include "op/placing.h"

static enum status turn_run(struct op_call *call)
{
    const struct value *axis = op_value(call, "axis"), *about = op_value(call, "about");
    struct vec along = vec_unit(vec(axis->vec[0], axis->vec[1], axis->vec[2])), min, max;
    if (vec_length(along) == 0)
        return job_fail(call->job, STATUS_USAGE,
                        "\"turn\": axis=0,0,0 points nowhere; give a direction, such as 0,0,1");
    enum status status = placing_box(call, &min, &max);
    if (status != STATUS_OK)
        return status;
    struct vec centre = about->given ? vec(about->vec[0], about->vec[1], about->vec[2])
                                     : vec_scale(vec_add(min, max), 0.5);
    const double degree = 3.14159265358979323846 / 180;
    double by = op_value(call, "by")->number;
    struct motion motion = motion_turn(along, by * degree, centre);
    status = placing_move(call, &motion);
    return status == STATUS_OK ? placing_tell_box(call, "turned by %.6g degrees", by) : status;
}

static const struct param params[] = {
    {"axis", PARAM_DIRECTION, OPTIONAL, "0,0,1", 0, 0, NULL, "the direction of the axis; z is up"},
    {"by", PARAM_ANGLE, REQUIRED_POSITIONAL, NULL, -3600, 3600, NULL,
     "how far, degrees; counter-clockwise seen from the axis' tip"},
    {"about", PARAM_VEC, OPTIONAL, NULL, 0, 0, NULL,
     "a point of the axis; the middle of what is turned"},
    OP_PIECE,
    {0}};

const struct op op_turn = {
    .name = "turn",
    .key = "T",
    .title = "turning",
    .undo = "turn",
    .help = "turn pieces about an axis",
    .example = "turn axis=x by=90",
    .manual =
        "Turns the chosen pieces together, counter-clockwise for one who looks against the axis' "
        "direction, about the middle of the box around them unless a point is given.",
    .params = params,
    .run = turn_run,
    .changes = true,
};
