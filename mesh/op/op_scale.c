#include "core/apart.h"
#include "core/job.h"
#include "op/placing.h"

enum { ALONG_X, ALONG_Y, ALONG_Z, ALONG_LONGEST };

static double side(struct vec size, int along)
{
    const double sides[3] = {size.x, size.y, size.z};
    return along == ALONG_LONGEST ? fmax(size.x, fmax(size.y, size.z)) : sides[along];
}

/* The greatest factor by which sides of `size` fit into those of `room`. */
static double fitting(struct vec size, struct vec room)
{
    double by = INFINITY;
    by = size.x > 0 ? fmin(by, room.x / size.x) : by;
    by = size.y > 0 ? fmin(by, room.y / size.y) : by;
    return size.z > 0 ? fmin(by, room.z / size.z) : by;
}

/* The sides, the least first. */
static struct vec in_order(struct vec a)
{
    double least = fmin(a.x, fmin(a.y, a.z)), most = fmax(a.x, fmax(a.y, a.z));
    double middle = fmax(fmin(a.x, a.y), fmin(fmax(a.x, a.y), a.z));
    return vec(least, middle, most);
}

static enum status factor_to_fit(const struct op_call *call, struct vec size, double *out)
{
    const double *side = op_value(call, "fit")->vec;
    struct vec room = vec(side[0], side[1], side[2]);
    bool enlarge = op_value(call, "enlarge")->choice;
    double by = fitting(size, room), turned = fitting(in_order(size), in_order(room));
    if (!isfinite(by))
        return job_fail(call->job, STATUS_REFUSED, "\"scale\": a single point has no size to fit");
    if (by > 1 && !enlarge)
        job_note(call->job, "it fits as it is; enlarge=yes would make it %.4g times as large", by);
    if (turned > by * 1.001 && (by < 1 || enlarge))
        job_note(call->job, "quarter turns could lay it so that %.4g times its present size fits",
                 turned);
    *out = enlarge ? by : fmin(by, 1);
    return STATUS_OK;
}

static enum status factor_to_length(const struct op_call *call, struct vec size, double *out)
{
    double now = side(size, op_value(call, "along")->choice);
    if (!(now > 0))
        return job_fail(call->job, STATUS_REFUSED,
                        "\"scale\": it has no size along that side; choose another with along=");
    *out = op_value(call, "to")->number / now;
    return STATUS_OK;
}

static enum status factor(const struct op_call *call, struct vec size, double *out)
{
    const struct value *by = op_value(call, "by"), *to = op_value(call, "to"),
                       *fit = op_value(call, "fit");
    if (by->given + to->given + fit->given != 1)
        return job_fail(call->job, STATUS_USAGE,
                        "\"scale\": give one of by=FACTOR, to=LENGTH and fit=AxBxC");
    enum status status = STATUS_OK;
    *out = by->number;
    if (to->given)
        status = factor_to_length(call, size, out);
    else if (fit->given)
        status = factor_to_fit(call, size, out);
    if (status == STATUS_OK && (!(*out > 0) || !isfinite(*out)))
        return job_fail(call->job, STATUS_USAGE, "\"scale\": the factor must be more than 0");
    return status;
}

/* The least of the chosen pieces' median edges, mm; 0 when none has triangles. */
static enum status median_edge(const struct op_call *call, double *out)
{
    const struct scene *in = call->in;
    enum status status = STATUS_OK;
    *out = 0;
    for (size_t i = op_chosen(call, 0); i < in->count && status == STATUS_OK;
         i = op_chosen(call, i + 1)) {
        double edge = 0;
        if (mesh_triangles(in->piece[i]->mesh))
            status = mesh_spacing(in->piece[i]->mesh, &edge, call->job);
        if (edge > 0 && (*out == 0 || edge < *out))
            *out = edge;
    }
    return status;
}

static enum status scale_run(struct op_call *call)
{
    struct vec min, max;
    double by = 0, edge = 0;
    enum status status = placing_box(call, &min, &max);
    struct vec size = status == STATUS_OK ? vec_sub(max, min) : vec(0, 0, 0);
    if (status == STATUS_OK)
        status = factor(call, size, &by);
    if (status == STATUS_OK)
        status = median_edge(call, &edge);
    if (status != STATUS_OK)
        return status;
    struct motion motion = motion_scale(by, vec(0, 0, 0));
    status = by == 1 ? STATUS_OK : placing_move(call, &motion);
    if (status != STATUS_OK)
        return status;
    size = vec_scale(size, by);
    job_note(call->job, "%.6g times as large: %.5g x %.5g x %.5g mm", by, size.x, size.y, size.z);
    if (edge > 0)
        job_note(call->job,
                 "its smallest detail is about %.3g mm now: the median length of its edges",
                 edge * by);
    return STATUS_OK;
}

static const struct param params[] = {
    {"by", PARAM_NUMBER, OPTIONAL, NULL, 1e-6, 1e6, NULL, "factor: 0.5 halves every length"},
    {"to", PARAM_LENGTH, OPTIONAL, NULL, 1e-6, 1e9, NULL, "the length that a side is to have"},
    {"along", PARAM_CHOICE, OPTIONAL, "longest", 0, 0, "x y z longest",
     "which side `to` speaks of"},
    {"fit", PARAM_BOX, OPTIONAL, NULL, 1e-6, 1e9, NULL,
     "a build volume along x, y and z that it is to fit into"},
    {"enlarge", PARAM_FLAG, OPTIONAL, "no", 0, 0, NULL,
     "with fit: make larger what is smaller, too"},
    OP_PIECE,
    {0}};

const struct op op_scale = {
    .name = "scale",
    .key = "S",
    .title = "scaling",
    .undo = "scale",
    .help = "make larger or smaller",
    .example = "scale to=120mm along=z",
    .manual =
        "Scales the chosen pieces together, alike in all directions and about the world's zero, "
        "so that what stands on z = 0 goes on standing there: by a factor, to the length "
        "that one side of the box around them is to have, or down to what fits into a build "
        "volume as they lie (nothing is turned). The new size is told, and the median edge "
        "length with it: detail much smaller than that the mesh does not have.",
    .params = params,
    .run = scale_run,
    .changes = true,
};
