#include <stdlib.h>

#include "core/job.h"
#include "op/placing.h"
#include "solid/stand.h"

static void tell(const struct stand_report *r, struct job *job)
{
    if (r->area > 0)
        job_note(job, "stands on %.4g mm2; centre of mass (of its %s) %.4g mm up", r->area,
                 r->solid ? "volume" : "surface", r->height);
    else
        job_note(job, "lies flat");
    if (r->area > 0 && r->tilt < 0)
        job_note(job, "it does not stay so by itself: its centre of mass is not above that side");
    else if (r->area > 0)
        job_note(job, "it tips over when tilted by %.3g degrees", r->tilt);
}

static enum status stand_run(struct op_call *call)
{
    enum status status = op_any_chosen(call);
    if (status != STATUS_OK)
        return status;
    const struct scene *in = call->in;
    const struct mesh **mesh = malloc((in->count + 1) * sizeof *mesh);
    if (!mesh)
        return job_fail_memory(call->job, in->count * sizeof *mesh);
    size_t count = 0;
    for (size_t i = op_chosen(call, 0); i < in->count; i = op_chosen(call, i + 1))
        mesh[count++] = in->piece[i]->mesh;
    const struct value *value = op_value(call, "on");
    struct vec on = vec(value->vec[0], value->vec[1], value->vec[2]);
    struct motion motion;
    struct stand_report report;
    status = stand_find(mesh, count, value->given ? &on : NULL, &motion, &report, call->job);
    free(mesh);
    if (status == STATUS_OK)
        status = placing_move(call, &motion);
    if (status == STATUS_OK)
        tell(&report, call->job);
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
