#include "check/deviation.h"
#include "core/job.h"
#include "core/topology.h"
#include "op/op.h"
#include "surface/decimate.h"

static const double CONTRAST = 0.004; /* of the size: what black to white counts as */
enum { SAMPLES = 200000 };            /* beside all vertices, for the report */

/* What is nothing but rounding is told as nothing. */
static double tidy(double mm)
{
    return mm < 1e-9 ? 0 : mm;
}

static enum status report(const struct mesh *before, const struct mesh *after, struct job *job)
{
    struct comparison c;
    if (after == before) {
        job_note(job, "%zu triangles already; nothing to take away", mesh_triangles(before));
        return STATUS_OK;
    }
    enum status status = deviation_compare(before, after, SAMPLES, &c, job);
    if (status != STATUS_OK)
        return status;
    job_note(
        job,
        "%zu triangles became %zu; measured deviation: at most %.4g mm from the old surface to "
        "the new one and %.4g mm back, RMS %.4g and %.4g mm",
        mesh_triangles(before), mesh_triangles(after), tidy(c.a_to_b.max), tidy(c.b_to_a.max),
        tidy(c.a_to_b.rms), tidy(c.b_to_a.rms));
    return STATUS_OK;
}

static enum status make(const struct op_call *call, const struct mesh *mesh, struct mesh **out,
                        struct job *job)
{
    const struct value *to = op_value(call, "to"), *share = op_value(call, "share");
    const struct value *within = op_value(call, "within"), *colour = op_value(call, "colour");
    const struct bounds *bounds = mesh_bounds(mesh, job);
    struct decimate_options options = {0};
    if (!bounds)
        return job_status(job);
    if (to->given)
        options.to = (size_t)to->number;
    if (share->given)
        options.to = (size_t)((double)mesh_triangles(mesh) * share->number);
    if (within->given)
        options.within = within->number;
    if (colour->given)
        options.contrast = colour->number;
    else if (!within->given) /* where that decides alone, colour would only cost triangles */
        options.contrast = CONTRAST * vec_length(bounds->size);
    options.keep_rim = op_value(call, "boundary")->choice == 1;
    struct job_part whole = job_stage(job, 750);
    *out = decimate(mesh, &options, job);
    job_part_end(job, whole);
    if (!*out)
        return job_status(job);
    if (within->given && *out != mesh)
        job_note(job, "proved: no place of either surface is farther than %g mm from the other",
                 within->number);
    whole = job_stage(job, 250);
    enum status status = report(mesh, *out, job);
    job_part_end(job, whole);
    if (status != STATUS_OK) {
        mesh_free(*out);
        *out = NULL;
    }
    return status;
}

static enum status decimate_run(struct op_call *call)
{
    int given = op_value(call, "to")->given + op_value(call, "share")->given +
                op_value(call, "within")->given;
    if (given != 1)
        return job_fail(
            call->job, STATUS_USAGE,
            "decimate needs one of to=, share= and within=, %s; say, decimate share=10%%",
            given ? "and no second one" : "and none is there");
    return op_each(call, make);
}

static const struct param params[] = {
    {"to", PARAM_COUNT, OPTIONAL, NULL, 1, 1e9, NULL, "so many triangles are left at most"},
    {"share", PARAM_SHARE, OPTIONAL, NULL, 0, 1, NULL, "such a share of the triangles is left"},
    {"within", PARAM_LENGTH, OPTIONAL, NULL, 1e-6, 1e6, NULL,
     "no place of either surface gets farther than that from the other"},
    {"boundary", PARAM_CHOICE, OPTIONAL, "fitted", 0, 0, "fitted kept",
     "fitted: boundary edges are reduced along their line; kept: they stay exactly as they are"},
    {"colour", PARAM_LENGTH, OPTIONAL, NULL, 0, 1e6, NULL,
     "a change from black to white counts as so large a deviation; else 0.4% of the size, or 0 "
     "with within"},
    OP_PIECE,
    {0}};

const struct op op_decimate = {
    .name = "decimate",
    .key = "d",
    .title = "decimating",
    .undo = "decimate",
    .help = "reduce the triangle count, keeping the surface",
    .example = "decimate within=0.05mm",
    .manual =
        "Edges are collapsed, those first that change the surface least, and what is left is "
        "fitted to the old surface. One of to=, share= and within= says how far. With within= "
        "there are as few triangles as the tolerance lets through, and the tolerance is proved for "
        "every point of both surfaces. Closed stays closed; no face turns over; what is not "
        "manifold stays as it is, flat places stay flat. Edges of colour are kept as well as edges "
        "of the surface (colour=0: they do not count). The deviation from the old surface is "
        "measured both ways and reported.",
    .params = params,
    .run = decimate_run,
    .changes = true,
};
