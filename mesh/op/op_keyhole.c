#include <stdio.h>

#include "core/job.h"
#include "core/join.h"
#include "op/fixing.h"
#include "op/suits.h"

/* Sizes beside the screw's own: common practice, no source. */
static const double height_play = 0.75; /* mm: the pocket is deeper than the head is high */

static const double least_lip = 2.0 / 3; /* of its thickness, left everywhere */
static const double least_slope = 0.17;  /* sine of 10 degrees, between slot and axis */

static const double margin = 0.5; /* mm: before the surface, so that no film is left */

enum { MOST = 2 };

struct work {
    struct keyhole hole;
    double head, tall, shank, wall, spacing; /* spacing 0: one */
    struct footing footing[MOST];
    int count;
    size_t piece;
};

/* --- its measures --------------------------------------------------------------------------- */

static double given_or(const struct op_call *call, const char *param, double otherwise)
{
    const struct value *value = op_value(call, param);
    return value->given ? value->number : otherwise;
}

/* A wood screw's flat head of 82 degrees (US inch practice) tapers down to the shank. */
static double cone_height(double head, double shank)
{
    return (head - shank) / 2 / tan(41 * 3.14159265358979323846 / 180);
}

static enum status head_measures(const struct op_call *call, struct work *w)
{
    enum screw screw = (enum screw)op_value(call, "screw")->choice;
    bool wood = screw_measure(screw, MEASURE_wood_head) > 0;
    enum status status =
        fixing_measure(call, "head", wood ? MEASURE_wood_head : MEASURE_pan_head, &w->head);
    if (status != STATUS_OK)
        return status;
    if (wood && !op_value(call, "tall")->given) {
        w->tall = cone_height(w->head, given_or(call, "shank", screw_shank(screw)));
        return STATUS_OK;
    }
    return fixing_measure(call, "tall", MEASURE_pan_height, &w->tall);
}

static enum status measures(const struct op_call *call, struct work *w)
{
    enum status status = head_measures(call, w);
    if (status != STATUS_OK)
        return status;
    w->shank = given_or(call, "shank", screw_shank((enum screw)op_value(call, "screw")->choice));
    w->hole.entry = given_or(call, "entry", w->head + KEYHOLE_HEAD_PLAY);
    w->hole.slot = given_or(call, "slot", w->shank + KEYHOLE_SHANK_PLAY);
    w->hole.travel = given_or(call, "travel", w->hole.entry);
    w->hole.lip = op_value(call, "lip")->number;
    w->hole.pocket = given_or(call, "pocket", w->tall + height_play);
    w->hole.above = margin;
    w->spacing = given_or(call, "spacing", 0);
    w->count = w->spacing > 0 ? 2 : 1;
    if (w->count > 1 && w->spacing < w->hole.entry + w->wall)
        return job_fail(call->job, STATUS_USAGE,
                        "\"keyhole\": two entries of %.4g mm need a spacing of %.4g mm or more",
                        w->hole.entry, w->hole.entry + w->wall);
    return STATUS_OK;
}

/* --- their places --------------------------------------------------------------------------- */

static struct vec up_of(const struct op_call *call)
{
    return fixing_vec(call, "up");
}

static enum status find(const struct op_call *call, const struct work *w, struct vec at,
                        const struct vec *along, struct footing *out)
{
    struct footprint print = {w->hole.entry / 2, w->hole.travel};
    return footing_find(call->in->piece[w->piece]->mesh, at, along, up_of(call), print, out,
                        call->job);
}

/* Both square to the mean of the surface at the two, on a line square to their slots; the first
 * place is in footing[0]. */
static enum status find_two(const struct op_call *call, struct work *w, struct vec at, bool given)
{
    struct vec into = w->footing[0].place.along;
    for (int turn = given ? 1 : 0; turn < 2; turn++) {
        struct vec side = vec_unit(vec_cross(up_of(call), into)), sum = vec(0, 0, 0);
        for (int i = 0; i < 2; i++) {
            struct vec place = vec_along(at, (i ? 0.5 : -0.5) * w->spacing, side);
            enum status status = find(call, w, place, turn ? &into : NULL, &w->footing[i]);
            if (status != STATUS_OK)
                return status;
            sum = vec_add(sum, w->footing[i].place.along);
        }
        into = vec_unit(sum);
    }
    return STATUS_OK;
}

/* A slot that runs along its own axis runs nowhere. */
static enum status judge_up(const struct op_call *call, struct vec along)
{
    struct vec up = vec_unit(up_of(call));
    if (vec_length(vec_cross(up, along)) > least_slope)
        return STATUS_OK;
    return job_fail(call->job, STATUS_USAGE,
                    "\"keyhole\": the surface faces the way that is to be up when it hangs; say "
                    "which way its slot is to run, such as up=y");
}

static enum status find_places(const struct op_call *call, struct work *w)
{
    bool given = op_value(call, "along")->given;
    struct vec along = vec_unit(fixing_vec(call, "along")), at = fixing_vec(call, "at");
    enum status status = find(call, w, at, given ? &along : NULL, &w->footing[0]);
    if (status == STATUS_OK)
        status = judge_up(call, w->footing[0].place.along);
    if (status != STATUS_OK || w->count == 1)
        return status;
    return find_two(call, w, given ? at : w->footing[0].place.at, given);
}

/* --- what speaks against it ------------------------------------------------------------------ */

static double half_entry(double depth, const void *context)
{
    (void)depth;
    return ((const struct keyhole *)context)->entry / 2;
}

static enum status judge_walls(const struct op_call *call, const struct work *w,
                               const struct footing *f, const struct tree *tree)
{
    const struct keyhole *k = &w->hole;
    struct footing_far far = footing_far(tree, f, (struct footprint){k->entry / 2, k->travel});
    struct footing_far wide =
        footing_far(tree, f, (struct footprint){k->entry / 2 + w->wall, k->travel});
    double deep = k->lip + k->pocket, left = far.shallow - deep;
    if (left < w->wall)
        return fixing_object(call,
                             "the material is %.4g mm thick there and it is %.4g mm deep, which "
                             "leaves %.3g mm of wall behind it, less than %.3g mm; go where it is "
                             "thicker",
                             far.shallow, deep, left, w->wall);
    double thin = k->lip - f->behind;
    if (thin < least_lip * k->lip)
        return fixing_object(call,
                             "the surface falls away there, which leaves its lip %.3g mm thick at "
                             "the thinnest, not %.3g mm; choose flatter ground or turn along=",
                             thin, k->lip);
    double first, last;
    fixing_span(f, &far, &wide, w->wall, deep, &first, &last);
    double side = footing_side(tree, f, k->travel, first, last, half_entry, k);
    if (side < w->wall)
        return fixing_object(call,
                             "%.3g mm of wall are left beside it, less than %.3g mm; go farther "
                             "from the edge",
                             side, w->wall);
    return STATUS_OK;
}

static enum status judge_hold(const struct op_call *call, const struct work *w)
{
    double hold = (w->head - w->hole.slot) / 2, play = w->hole.entry - w->head;
    if (play < 0)
        return fixing_object(call, "a head of %.4g mm does not pass an entry of %.4g mm", w->head,
                             w->hole.entry);
    if (w->hole.slot < w->shank)
        return fixing_object(call, "a shank of %.4g mm does not pass a slot of %.4g mm", w->shank,
                             w->hole.slot);
    if (w->hole.pocket < w->tall)
        return fixing_object(call, "a head %.4g mm high has no room in a pocket of %.4g mm",
                             w->tall, w->hole.pocket);
    if (hold < KEYHOLE_LEAST_HOLD)
        return fixing_object(call,
                             "the lip overlaps the head by %.3g mm on either side, less than %.3g "
                             "mm; take a screw with a wider head or a narrower slot",
                             hold, KEYHOLE_LEAST_HOLD);
    return STATUS_OK;
}

/* How much deeper the second stands than the first. */
static double offset(const struct work *w)
{
    return vec_dot(vec_sub(w->footing[1].place.at, w->footing[0].place.at),
                   w->footing[0].place.along);
}

static enum status judge(const struct op_call *call, const struct work *w)
{
    const struct tree *tree = mesh_tree(call->in->piece[w->piece]->mesh, call->job);
    enum status status = judge_hold(call, w);
    for (int i = 0; i < w->count && status == STATUS_OK; i++) {
        status = fixing_ground(call, &w->footing[i], w->hole.entry);
        if (status == STATUS_OK)
            status = judge_walls(call, w, &w->footing[i], tree);
    }
    if (status == STATUS_OK && w->count > 1 && fabs(offset(w)) > KEYHOLE_LEAST_HOLD)
        status =
            fixing_object(call,
                          "one of the two stands %.3g mm deeper than the other; choose flatter "
                          "ground or a smaller spacing",
                          fabs(offset(w)));
    return status;
}

/* --- the cut -------------------------------------------------------------------------------- */

static enum status make_tools(const struct op_call *call, const struct work *w, struct mesh **tool)
{
    struct mesh *each[MOST] = {NULL};
    enum status status = STATUS_OK;
    for (int i = 0; i < w->count && status == STATUS_OK; i++) {
        struct keyhole hole = w->hole;
        hole.above += w->footing[i].before;
        status = keyhole_cutter(&hole, &w->footing[i].place, &each[i], call->job);
    }
    if (status == STATUS_OK) {
        *tool = mesh_join((const struct mesh *const *)each, (size_t)w->count, call->job);
        status = *tool ? STATUS_OK : job_status(call->job);
    }
    for (int i = 0; i < MOST; i++)
        mesh_free(each[i]);
    return status;
}

static void tell_hanging(const struct op_call *call, const struct work *w)
{
    if (w->count > 1)
        job_note(call->job, "drill for two screws %.5g mm apart, level with each other",
                 w->spacing);
    job_note(call->job,
             "let the heads stand %.3g mm clear of the wall, and leave %.4g mm free above the part "
             "to hang it in",
             w->hole.lip, w->hole.travel);
    job_note(call->job, FIXING_CAUTION);
}

static void tell(const struct op_call *call, const struct work *w)
{
    const struct keyhole *k = &w->hole;
    job_note(call->job,
             "%s: %s, entry %.4g mm, slot %.4g mm, travel %.4g mm, lip %.3g mm, pocket %.3g mm",
             call->in->piece[w->piece]->name, w->count > 1 ? "two keyholes" : "a keyhole", k->entry,
             k->slot, k->travel, k->lip, k->pocket);
}

static enum status measure_back(const struct op_call *call, const struct work *w)
{
    const struct tree *tree = mesh_tree(call->out->piece[w->piece]->mesh, call->job);
    if (!tree)
        return job_status(call->job);
    const struct keyhole *k = &w->hole;
    struct footing f = w->footing[0];
    uint32_t facets = cutter_facets(k->entry / 2);
    double depth = (f.behind + k->lip) / 2, entry = footing_width(tree, &f, depth, facets);
    f.place.at = vec_along(f.place.at, k->travel, f.place.up);
    double slot = footing_width(tree, &f, depth, facets);
    double pocket = footing_width(tree, &f, k->lip + k->pocket / 2, facets);
    job_note(call->job, "measured back: entry %.5g mm, slot %.5g mm, pocket %.5g mm", entry, slot,
             pocket);
    return STATUS_OK;
}

static struct fixing fixing_of(const struct op_call *call, const struct work *w, int i)
{
    const struct cutter_place *place = &w->footing[i].place;
    const struct keyhole *k = &w->hole;
    struct fixing fixing = {.kind = FIXING_KEYHOLE,
                            .at = vec_along(place->at, k->travel, place->up),
                            .along = place->along,
                            .up = place->up,
                            .shank = w->shank,
                            .head = w->head,
                            .width = k->slot,
                            .depth = (fmax(w->footing[i].behind, 0) + k->lip) / 2,
                            .entry = k->entry,
                            .travel = k->travel,
                            .lip = k->lip,
                            .pocket = k->pocket,
                            .room = k->entry};
    if (!op_value(call, "shank")->given)
        snprintf(fixing.screw, sizeof fixing.screw, "%s",
                 screw_name((enum screw)op_value(call, "screw")->choice));
    return fixing;
}

static enum status plan(const struct op_call *call, struct work *w)
{
    w->wall = op_value(call, "wall")->number;
    enum status status = measures(call, w);
    if (status == STATUS_OK)
        status = fixing_piece(call, fmax(2 * w->hole.entry, w->spacing), &w->piece);
    if (status == STATUS_OK)
        status = find_places(call, w);
    return status;
}

static enum status keyhole_run(struct op_call *call)
{
    struct work w = {0};
    struct mesh *tool = NULL;
    enum status status = plan(call, &w);
    if (status == STATUS_OK)
        status = judge(call, &w);
    if (status == STATUS_OK)
        status = make_tools(call, &w, &tool);
    if (status != STATUS_OK)
        return status;
    const struct fixing fixing[MOST] = {fixing_of(call, &w, 0),
                                        fixing_of(call, &w, w.count > 1 ? 1 : 0)};
    status = fixing_cut(call, w.piece, tool, fixing, (size_t)w.count);
    mesh_free(tool);
    if (status != STATUS_OK)
        return status;
    tell(call, &w);
    status = measure_back(call, &w);
    tell_hanging(call, &w);
    return status;
}

static enum status keyhole_sketch(const struct op_call *call, struct sketch *sketch)
{
    struct work w = {0};
    struct mesh *tool = NULL;
    enum status status = plan(call, &w);
    if (status == STATUS_OK)
        status = make_tools(call, &w, &tool);
    if (status == STATUS_OK)
        status = sketch_creases(sketch, tool, call->job);
    mesh_free(tool);
    if (status == STATUS_OK)
        status = judge(call, &w);
    if (status == STATUS_OK)
        tell(call, &w);
    return status;
}

static const struct param params[] = {
    {"at", PARAM_PLACE, REQUIRED_POSITIONAL, NULL, 0, 0, NULL,
     "the middle of the entry, or of the two entries, on the surface or near it"},
    {"along", PARAM_DIRECTION, OPTIONAL, NULL, 0, 0, NULL,
     "into the material; square to the surface there"},
    {"up", PARAM_DIRECTION, OPTIONAL, "z", 0, 0, NULL,
     "about where the slot runs to: up, when the part hangs"},
    FIXING_SCREW,
    {"spacing", PARAM_LENGTH, OPTIONAL, NULL, 1, 100000, NULL,
     "two of them, so far apart, level with each other; else one"},
    {"head", PARAM_LENGTH, OPTIONAL, NULL, 0.1, 1000, NULL,
     "diameter of the screw's head instead of the table's, as measured"},
    {"shank", PARAM_LENGTH, OPTIONAL, NULL, 0.1, 1000, NULL,
     "diameter of the screw's shank instead of the table's, as measured"},
    {"tall", PARAM_LENGTH, OPTIONAL, NULL, 0.1, 1000, NULL,
     "height of the screw's head instead of the table's"},
    {"entry", PARAM_LENGTH, OPTIONAL, NULL, 0.1, 1000, NULL,
     "diameter that lets the head in instead of the head's and 1.25 mm"},
    {"slot", PARAM_LENGTH, OPTIONAL, NULL, 0.1, 1000, NULL,
     "its width instead of the shank's and 0.5 mm"},
    {"travel", PARAM_LENGTH, OPTIONAL, NULL, 0.1, 1000, NULL,
     "from the entry to where the shank rests instead of the entry's diameter"},
    {"lip", PARAM_LENGTH, OPTIONAL, "3", 0.1, 1000, NULL, "thickness that holds the head"},
    {"pocket", PARAM_LENGTH, OPTIONAL, NULL, 0.1, 1000, NULL,
     "depth behind the lip instead of the head's height and 0.75 mm"},
    FIXING_WALL,
    FIXING_ANYWAY,
    OP_PIECE,
    {0}};

const struct op op_keyhole = {
    .name = "keyhole",
    .key = "K",
    .title = "cutting a keyhole",
    .undo = "cut a keyhole",
    .help = "cut one or two keyhole slots to hang the part on screws",
    .example = "keyhole at=@ up=z spacing=60mm screw=M4",
    .manual =
        "A round entry lets the screw's head in; from its middle a slot runs up, behind whose lip "
        "a pocket as wide as the entry takes the head. Heads are pan heads of ISO 7045, or flat "
        "ones of wood screws; sizes beside them follow common practice, and each can be given. Two "
        "are cut with spacing=: on a line square to the slots, both square to the mean of the "
        "surface at the two. Before it cuts it looks at the place: refused, with the number, is "
        "ground that is uneven or hangs over an edge, a wall too thin beside or behind it, a lip "
        "that overlaps the head by less than 1 mm. The piece must be a solid; of several chosen "
        "ones the nearest is cut. The new faces are marked as made, and the widths are measured "
        "back from the result. Printed parts creep and split along layers; no load is rated here. "
        "Have wall, fixing and load judged by a qualified person under local code.",
    .params = params,
    .run = keyhole_run,
    .sketch = keyhole_sketch,
    .tool = OP_POINT,
    .changes = true,
};
