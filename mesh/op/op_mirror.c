#include "core/job.h"
#include "op/placing.h"

static enum status find_normal(const struct op_call *call, struct vec *normal)
{
    const struct value *plane = op_value(call, "plane"), *square = op_value(call, "normal");
    if (plane->typed && square->typed)
        return job_fail(call->job, STATUS_USAGE,
                        "\"mirror\": give either plane=x|y|z or normal=, not both");
    const double *n = square->vec;
    const struct vec axis[3] = {{1, 0, 0}, {0, 1, 0}, {0, 0, 1}};
    *normal = square->given ? vec_unit(vec(n[0], n[1], n[2])) : axis[plane->choice];
    return STATUS_OK;
}

static void tell(const struct op_call *call, struct vec normal, struct vec through)
{
    const double n[3] = {normal.x, normal.y, normal.z};
    const double p[3] = {through.x, through.y, through.z};
    int axis = -1;
    for (int k = 0; k < 3; k++)
        axis = fabs(n[k]) == 1 ? k : axis;
    if (axis >= 0)
        job_note(call->job, "mirrored in the plane %c = %.6g mm", "xyz"[axis], p[axis]);
    else
        job_note(call->job,
                 "mirrored in the plane through %.6g, %.6g, %.6g mm, square to %.4g, %.4g, %.4g",
                 p[0], p[1], p[2], n[0], n[1], n[2]);
    job_note(call->job, "left and right have changed places: lettering and threads run backwards");
}

static enum status mirror_run(struct op_call *call)
{
    const struct value *at = op_value(call, "through");
    struct vec normal, min, max;
    enum status status = find_normal(call, &normal);
    if (status == STATUS_OK)
        status = placing_box(call, &min, &max);
    if (status != STATUS_OK)
        return status;
    struct vec through =
        at->given ? vec(at->vec[0], at->vec[1], at->vec[2]) : vec_scale(vec_add(min, max), 0.5);
    struct motion motion = motion_mirror(normal, through);
    status = placing_move(call, &motion);
    if (status == STATUS_OK)
        tell(call, normal, through);
    return status;
}

static const struct param params[] = {{"plane", PARAM_CHOICE, POSITIONAL, "x", 0, 0, "x y z",
                                       "the axis that the mirror is square to"},
                                      {"through", PARAM_VEC, OPTIONAL, NULL, 0, 0, NULL,
                                       "a point in the mirror; the middle of what is mirrored"},
                                      {"normal", PARAM_DIRECTION, OPTIONAL, NULL, 0, 0, NULL,
                                       "in place of plane: any direction the mirror is square to"},
                                      OP_PIECE,
                                      {0}};

const struct op op_mirror = {
    .name = "mirror",
    .key = "Y",
    .title = "mirroring",
    .undo = "mirror",
    .help = "make the mirror image",
    .example = "mirror plane=x",
    .manual =
        "Mirrors the chosen pieces together in a plane: of a left hand it makes a right one. "
        "The plane goes through the middle of the box around them unless a point is given, so "
        "that they stay where they are. The triangles are turned over, so that the outside "
        "stays outside; colours, texture and all else stay with their place.",
    .params = params,
    .run = mirror_run,
    .changes = true,
};
