#include "core/job.h"
#include "op/placing.h"

enum { ALONG_X, ALONG_Y, ALONG_Z, ALONG_LONGEST };

static double side(struct vec size, int along)
{
    const double sides[3] = {size.x, size.y, size.z};
    return along == ALONG_LONGEST ? fmax(size.x, fmax(size.y, size.z)) : sides[along];
}

static enum status factor(const struct op_call *call, struct vec size, double *out)
{
    const struct value *by = op_value(call, "by"), *to = op_value(call, "to");
    double now = side(size, op_value(call, "along")->choice);
    if (by->given == to->given)
        return job_fail(call->job, STATUS_USAGE, "\"scale\": give either by=FACTOR or to=LENGTH");
    if (to->given && !(now > 0))
        return job_fail(call->job, STATUS_REFUSED,
                        "\"scale\": it has no size along that side; choose another with along=");
    *out = by->given ? by->number : to->number / now;
    if (!(*out > 0) || !isfinite(*out))
        return job_fail(call->job, STATUS_USAGE, "\"scale\": the factor must be more than 0");
    return STATUS_OK;
}

static enum status scale_run(struct op_call *call)
{
    struct vec min, max;
    double by = 0;
    enum status status = placing_box(call, &min, &max);
    struct vec size = vec_sub(max, min);
    if (status == STATUS_OK)
        status = factor(call, size, &by);
    if (status != STATUS_OK)
        return status;
    struct motion motion = motion_scale(by, vec(0, 0, 0));
    status = placing_move(call, &motion);
    size = vec_scale(size, by);
    if (status == STATUS_OK)
        job_note(call->job, "%.6g times as large: %.5g x %.5g x %.5g mm", by, size.x, size.y, size.z);
    return status;
}

static const struct param params[] = {
    {"by", PARAM_NUMBER, OPTIONAL, NULL, 1e-6, 1e6, NULL, "factor: 0.5 halves every length"},
    {"to", PARAM_LENGTH, OPTIONAL, NULL, 1e-6, 1e9, NULL, "the length that a side is to have"},
    {"along", PARAM_CHOICE, OPTIONAL, "longest", 0, 0, "x y z longest", "which side `to` speaks of"},
    OP_PIECE,
    {0}};

const struct op op_scale = {
    .name = "scale",
    .key = "S",
    .title = "scaling",
    .undo = "scale",
    .help = "make larger or smaller",
    .manual = "Scales the chosen pieces together, alike in all directions and about the world's zero, "
              "so that what stands on z = 0 goes on standing there: by a factor, or to the length "
              "that one side of the box around them is to have.",
    .params = params,
    .run = scale_run,
    .changes = true,
};
