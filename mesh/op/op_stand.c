#include <math.h>
#include <stdlib.h>

#include "core/job.h"
#include "op/placing.h"

static void tell_support(const struct op_call *call, const struct stand_report *r)
{
    job_note(call->job,
             "support below what leans over more than %.4g degrees: %.4g cm3 under %.4g mm2; as it "
             "lay it was %.4g cm3 under %.4g mm2",
             op_value(call, "lean")->number, r->support.volume / 1000, r->support.area,
             r->before.volume / 1000, r->before.area);
    job_note(call->job, "the least of %zu side%s that %s tried", r->tried, r->tried == 1 ? "" : "s",
             r->tried == 1 ? "was" : "were");
}

/* Which other side it might have been meant to stand on. */
static void tell_other(const struct op_call *call, const struct stand_report *r)
{
    const struct stand_side *own = r->is_nearest ? &r->nearest : &r->lowest;
    const struct stand_side *other = r->is_nearest ? &r->lowest : &r->nearest;
    if (isinf(other->turn) || fabs(other->turn - own->turn) < STAND_FIRM)
        return;
    job_note(call->job,
             "that is %s, which was %.0f degrees off the floor; on %s, %.0f degrees off it, it may "
             "be tilted %.3g degrees: by=%s",
             r->is_nearest ? "the side nearest to the floor" : "its lowest side", own->turn,
             r->is_nearest ? "its lowest side" : "the nearest firm one", other->turn, other->tilt,
             r->is_nearest ? "lowest" : "nearest");
}

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
    enum stand_by by = (enum stand_by)op_value(call, "by")->choice;
    if (value->given && op_value(call, "by")->typed)
        status = job_fail(call->job, STATUS_USAGE,
                          "\"stand\": a point names the side itself; leave out by=, or on=");
    else if (value->given)
        status = stand_find(mesh, count, &on, &motion, &report, call->job);
    else
        status = stand_find_by(mesh, count, by, op_value(call, "lean")->number, &motion, &report,
                               call->job);
    free(mesh);
    if (status == STATUS_OK)
        status = placing_move(call, &motion);
    if (status == STATUS_OK && report.area > 0)
        placing_tell_standing(&report, call->job);
    else if (status == STATUS_OK)
        job_note(call->job, "lies flat");
    if (status == STATUS_OK && !value->given && by == STAND_AUTO)
        tell_other(call, &report);
    if (status == STATUS_OK && report.tried)
        tell_support(call, &report);
    return status;
}

static const struct param params[] = {
    {"on", PARAM_PLACE, POSITIONAL, NULL, 0, 0, NULL,
     "a point on the side that is to go down; else it is chosen"},
    {"by", PARAM_CHOICE, OPTIONAL, "auto", 0, 0, "lowest largest support nearest auto",
     "without a point: where it comes to rest, its largest flat place, the least support, the side "
     "nearest to the floor; auto: that if it is near and firm, else where it comes to rest"},
    {"lean", PARAM_ANGLE, OPTIONAL, "45", 0, 90, NULL,
     "by=support: how far from upright a face may lean over before it needs support"},
    OP_PIECE,
    {0}};

const struct op op_stand = {
    .name = "stand",
    .key = "P",
    .title = "standing it on the floor",
    .undo = "stand on the floor",
    .help = "stand on the floor z = 0",
    .example = "stand on=@",
    .manual =
        "Turns the chosen pieces together so that a flat side, or the side it can rest on, goes "
        "down, and puts them on z = 0 with the middle of their box above 0,0. A part rests on "
        "the faces of its convex hull. With a point, the face goes down "
        "that lies best against the surface there; a point far off names the side that "
        "faces it. by=lowest takes the one on which its centre "
        "of mass is lowest, so where it comes to rest when nudged; by=nearest the one nearest to "
        "the floor as it lies, of those on which it may be tilted 10 degrees before it tips. "
        "Without either that one is taken where it is within 45 degrees of the floor and no less "
        "firm than the lowest, so that what was scanned upright stands upright; else the lowest. "
        "The other one is told. by=largest takes the largest flat place that it can rest on, "
        "by=support of its 64 "
        "largest the one that needs the least support in printing: the columns from all faces that "
        "lean over too far down to the floor (those that end on the part itself, too). The note "
        "tells how far it may be tilted before it tips.",
    .params = params,
    .run = stand_run,
    .changes = true,
};
