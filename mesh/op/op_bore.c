#include <stdio.h>

#include "core/job.h"
#include "op/fixing.h"

/* Beyond the surface on either side, so that no film is left. */
static const double margin = 0.5; /* mm */

/* Common practice, no source: a counterbore is deeper than the head is high, an insert's hole than
 * the insert is long, and around an insert's hole there is half as much again on either side. */
static const double sunk = 0.4, under_insert = 1; /* mm */
static const double boss_share = 0.5;             /* of the hole's diameter */

enum { SERIES_SLOT, SERIES_SOCKET };

struct work {
    struct bore bore;
    struct footing footing;
    struct footing_far far, wide; /* under the hole; a wall's thickness around it too */
    double wall;                  /* to be left beside it; under it as the parameter says */
    bool blind;
    size_t piece;
};

/* --- its measures --------------------------------------------------------------------------- */

static enum measure measure_of_mouth(const struct op_call *call)
{
    if (op_value(call, "head")->choice == BORE_COUNTERBORE)
        return MEASURE_counterbore;
    return op_value(call, "series")->choice == SERIES_SOCKET ? MEASURE_sink_socket : MEASURE_sink;
}

static bool for_insert(const struct op_call *call)
{
    return op_value(call, "insert")->given;
}

static enum measure measure_of_hole(const struct op_call *call)
{
    return for_insert(call) ? MEASURE_insert
                            : (enum measure)(MEASURE_fine + op_value(call, "fit")->choice);
}

/* What was typed must mean something: an insert has neither a fit nor a recess for a head, a hole
 * without a recess no mouth. */
static enum status words_agree(const struct op_call *call)
{
    int head = op_value(call, "head")->choice;
    const char *odd = op_value(call, "fit")->typed     ? "fit"
                      : head                           ? "head"
                      : op_value(call, "depth")->given ? "depth"
                                                       : NULL;
    if (for_insert(call) && odd)
        return job_fail(call->job, STATUS_USAGE,
                        "\"bore\": insert= makes the plain blind hole that a heat-set insert of "
                        "that length is pressed into; leave out %s=",
                        odd);
    if ((head == BORE_NONE && op_value(call, "mouth")->given) ||
        (head != BORE_COUNTERBORE && op_value(call, "seat")->given))
        return job_fail(call->job, STATUS_USAGE,
                        "\"bore\": mouth= is of a recess, seat= of a counterbore; say which with "
                        "head=");
    return STATUS_OK;
}

static enum status measures(const struct op_call *call, struct bore *bore)
{
    bore->head = (enum bore_head)op_value(call, "head")->choice;
    enum status status = words_agree(call);
    if (status == STATUS_OK)
        status = fixing_measure(call, "hole", measure_of_hole(call), &bore->diameter);
    if (status == STATUS_OK && bore->head != BORE_NONE)
        status = fixing_measure(call, "mouth", measure_of_mouth(call), &bore->mouth);
    if (status != STATUS_OK || bore->head != BORE_COUNTERBORE)
        return status;
    status = fixing_measure(call, "seat", MEASURE_cap_height, &bore->seat);
    bore->seat += op_value(call, "seat")->given ? 0 : sunk;
    return status;
}

static double widest(const struct bore *bore)
{
    return bore->head == BORE_NONE ? bore->diameter : bore->mouth;
}

/* --- its place ------------------------------------------------------------------------------ */

static enum status find_place(const struct op_call *call, struct work *w)
{
    const struct value *way = op_value(call, "along");
    const struct mesh *mesh = call->in->piece[w->piece]->mesh;
    struct vec along = fixing_vec(call, "along");
    struct footprint print = {widest(&w->bore) / 2, 0};
    enum status status = footing_find(mesh, fixing_vec(call, "at"), way->given ? &along : NULL,
                                      vec(0, 0, 1), print, &w->footing, call->job);
    const struct tree *tree = status == STATUS_OK ? mesh_tree(mesh, call->job) : NULL;
    if (!tree)
        return status == STATUS_OK ? job_status(call->job) : status;
    w->far = footing_far(tree, &w->footing, (struct footprint){w->bore.diameter / 2, 0});
    w->wide = footing_far(tree, &w->footing, (struct footprint){print.radius + w->wall, 0});
    w->bore.above = w->footing.before + margin;
    return STATUS_OK;
}

static enum status find_depth(const struct op_call *call, struct work *w)
{
    const struct value *depth = op_value(call, "depth"), *insert = op_value(call, "insert");
    w->blind = depth->given || insert->given;
    if (w->blind) {
        w->bore.depth = insert->given ? insert->number + under_insert : depth->number;
        return STATUS_OK;
    }
    if (w->far.deep == INFINITY)
        return job_fail(
            call->job, STATUS_REFUSED,
            "\"bore\": the axis leaves the solid nowhere; give a depth, or turn along=");
    double room = w->far.next - w->far.deep; /* the next wall is not to be scratched */
    w->bore.depth = w->far.deep + (room > 0 ? fmin(margin, room / 2) : 0);
    return STATUS_OK;
}

/* --- what speaks against it ------------------------------------------------------------------ */

static double radius_at(double depth, const void *context)
{
    return bore_radius(context, depth);
}

static enum status judge_sides(const struct op_call *call, const struct work *w,
                               const struct tree *tree)
{
    double first, last;
    fixing_span(&w->footing, &w->far, &w->wide, w->wall, w->bore.depth, &first, &last);
    double side = footing_side(tree, &w->footing, 0, first, last, radius_at, &w->bore);
    if (side < 0)
        return fixing_object(call, "it breaks out sideways, by %.3g mm; go farther from the edge",
                             -side);
    if (side < w->wall)
        return fixing_object(call,
                             "only %.3g mm of wall are left beside it, less than %.3g mm; go "
                             "farther from the edge",
                             side, w->wall);
    return STATUS_OK;
}

static enum status judge_end(const struct op_call *call, const struct work *w)
{
    bool through = !w->blind;
    double wall = op_value(call, "wall")->number;
    double thick = w->far.shallow, left = thick - w->bore.depth;
    double recess = bore_recess(&w->bore), behind = thick - recess;
    if (w->bore.head == BORE_COUNTERBORE)
        behind = fmin(thick, w->wide.shallow) - recess;
    if (through && w->far.next < w->far.deep)
        return fixing_object(call,
                             "it breaks into a hollow on one side, %.4g mm down; go farther from "
                             "that, or give a depth",
                             thick);
    if (!through && left < 0)
        return fixing_object(call,
                             "it breaks through on the far side: the material is %.4g mm thick "
                             "there; say depth=through or less than that",
                             thick);
    if (!through && left < wall)
        return fixing_object(call,
                             "only %.3g mm of wall are left under it, less than %.3g mm; go less "
                             "deep",
                             left, wall);
    if (w->bore.head != BORE_NONE && behind < wall)
        return fixing_object(call,
                             "only %.3g mm are left to hold the head: the material is %.4g mm "
                             "thick, the recess %.3g mm deep; take a smaller screw or another head",
                             behind, thick, recess);
    return STATUS_OK;
}

static enum status judge(const struct op_call *call, const struct work *w)
{
    const struct tree *tree = mesh_tree(call->in->piece[w->piece]->mesh, call->job);
    enum status status = fixing_ground(call, &w->footing, widest(&w->bore));
    if (status == STATUS_OK)
        status = judge_end(call, w);
    if (status == STATUS_OK)
        status = judge_sides(call, w, tree);
    return status;
}

/* --- the cut -------------------------------------------------------------------------------- */

static enum status plan(const struct op_call *call, struct work *w)
{
    enum status status = measures(call, &w->bore);
    w->wall = op_value(call, "wall")->number;
    if (for_insert(call))
        w->wall = fmax(w->wall, boss_share * w->bore.diameter);
    if (status == STATUS_OK)
        status = fixing_piece(call, 2 * widest(&w->bore), &w->piece);
    if (status == STATUS_OK)
        status = find_place(call, w);
    if (status == STATUS_OK)
        status = find_depth(call, w);
    return status;
}

static struct fixing fixing_of(const struct op_call *call, const struct work *w)
{
    const struct cutter_place *place = &w->footing.place;
    enum screw screw = (enum screw)op_value(call, "screw")->choice;
    double least = fmax(bore_recess(&w->bore), w->footing.behind);
    struct fixing fixing = {.kind = FIXING_BORE,
                            .at = place->at,
                            .along = place->along,
                            .up = place->up,
                            .shank = screw_shank(screw),
                            .width = w->bore.diameter,
                            .depth = (least + fmin(w->bore.depth, w->far.shallow)) / 2,
                            .through = !w->blind,
                            .clear = !w->blind && isinf(w->far.next),
                            .length = w->blind ? w->bore.depth : w->far.deep,
                            .mouth = w->bore.head == BORE_NONE ? 0 : w->bore.mouth,
                            .sunk = bore_recess(&w->bore),
                            .cone = w->bore.head == BORE_COUNTERSUNK};
    if (fixing.mouth > 0 && !op_value(call, "mouth")->given)
        fixing.recess_by = measure_row(measure_of_mouth(call))->standard;
    if (op_value(call, "hole")->given) {
        fixing.shank = 0;
        return fixing;
    }
    snprintf(fixing.screw, sizeof fixing.screw, "%s", screw_name(screw));
    fixing.by = measure_row(measure_of_hole(call))->standard;
    return fixing;
}

/* Makers' figures for the pilot: from that width on. */
static void tell_pilots(const struct op_call *call, double least)
{
    double most = screw_measure((enum screw)op_value(call, "screw")->choice, MEASURE_insert_most);
    char up_to[32] = "";
    if (most > least)
        snprintf(up_to, sizeof up_to, " to %.4g", most);
    job_note(call->job, "pilots for such inserts are %.4g%s mm wide (%s): yours has its own sheet",
             least, up_to, measure_row(MEASURE_insert)->source);
}

static void tell_hole(const struct op_call *call, const struct work *w)
{
    const char *name = call->in->piece[w->piece]->name;
    bool own = op_value(call, "hole")->given;
    job_note(call->job, "%s: a hole of %.4g mm (%s), %s %.4g mm", name, w->bore.diameter,
             own ? "as given" : measure_row(measure_of_hole(call))->standard,
             w->blind ? "deep" : "through", w->blind ? w->bore.depth : w->far.deep);
    if (for_insert(call) && !own)
        tell_pilots(call, w->bore.diameter);
}

static void tell_head(const struct op_call *call, const struct bore *bore)
{
    if (bore->head == BORE_NONE)
        return;
    bool own = op_value(call, "mouth")->given;
    job_note(call->job, "%s %.4g mm wide, %.4g mm deep (%s)",
             bore->head == BORE_COUNTERSUNK ? "countersunk at 90 degrees," : "counterbored,",
             bore->mouth, bore_recess(bore),
             own ? "as given" : measure_row(measure_of_mouth(call))->standard);
}

static void tell(const struct op_call *call, const struct work *w)
{
    tell_hole(call, w);
    tell_head(call, &w->bore);
    if (w->footing.tilt > 0.5)
        job_note(call->job, "its axis is %.3g degrees off square to the surface", w->footing.tilt);
}

/* The widths that the result has; of a countersink what they say of the mouth, as it narrows by
 * twice the depth. */
static enum status measure_back(const struct op_call *call, const struct work *w, double depth)
{
    const struct piece *piece = call->out->piece[w->piece];
    const struct tree *tree = mesh_tree(piece->mesh, call->job);
    if (!tree)
        return job_status(call->job);
    uint32_t facets = cutter_facets(widest(&w->bore) / 2);
    double width = footing_width(tree, &w->footing, depth, facets);
    double recess = bore_recess(&w->bore), half = (fmax(w->footing.behind, 0) + recess) / 2;
    if (w->bore.head == BORE_NONE || half >= recess) {
        job_note(call->job, "measured back: %.5g mm", width);
        return STATUS_OK;
    }
    double mouth = footing_width(tree, &w->footing, half, facets);
    mouth += w->bore.head == BORE_COUNTERSUNK && mouth > 0 ? 2 * half : 0;
    job_note(call->job, "measured back: %.5g mm, its recess %.5g mm", width, mouth);
    return STATUS_OK;
}

static enum status bore_run(struct op_call *call)
{
    struct work w = {0};
    struct mesh *tool = NULL;
    enum status status = plan(call, &w);
    if (status == STATUS_OK)
        status = judge(call, &w);
    if (status == STATUS_OK)
        status = bore_cutter(&w.bore, &w.footing.place, &tool, call->job);
    if (status != STATUS_OK)
        return status;
    const struct fixing fixing = fixing_of(call, &w);
    status = fixing_cut(call, w.piece, tool, &fixing, 1);
    mesh_free(tool);
    if (status != STATUS_OK)
        return status;
    tell(call, &w);
    return measure_back(call, &w, fixing.depth);
}

static enum status bore_sketch(const struct op_call *call, struct sketch *sketch)
{
    struct work w = {0};
    struct mesh *tool = NULL;
    enum status status = plan(call, &w);
    if (status == STATUS_OK)
        status = bore_cutter(&w.bore, &w.footing.place, &tool, call->job);
    if (status == STATUS_OK)
        status = sketch_creases(sketch, tool, call->job);
    mesh_free(tool);
    const struct cutter_place *place = &w.footing.place;
    if (status == STATUS_OK) /* its axis stands out, so that the direction is seen */
        status = sketch_line(sketch, vec_along(place->at, -1.5 * widest(&w.bore), place->along),
                             place->at, call->job);
    if (status == STATUS_OK)
        status = judge(call, &w);
    if (status == STATUS_OK)
        tell(call, &w);
    return status;
}

static const struct param params[] = {
    {"at", PARAM_PLACE, REQUIRED_POSITIONAL, NULL, 0, 0, NULL, "where, on the surface or near it"},
    {"along", PARAM_DIRECTION, OPTIONAL, NULL, 0, 0, NULL,
     "into the material; square to the surface there"},
    FIXING_SCREW,
    {"fit", PARAM_CHOICE, OPTIONAL, "medium", 0, 0, "fine medium coarse",
     "how loosely it passes through"},
    {"head", PARAM_CHOICE, OPTIONAL, "none", 0, 0, "none countersunk counterbore",
     "the recess for its head"},
    {"series", PARAM_CHOICE, OPTIONAL, "slotted", 0, 0, "slotted socket",
     "countersunk heads of ISO 2009, 2010, 7046, or with a hexagon socket, ISO 10642"},
    {"depth", PARAM_LENGTH, OPTIONAL, "through", 0.01, 100000, NULL,
     "how deep, or through the first wall"},
    {"insert", PARAM_LENGTH, OPTIONAL, NULL, 0.5, 1000, NULL,
     "a heat-set insert so long is to be pressed in: the pilot hole for it, 1 mm deeper"},
    {"hole", PARAM_LENGTH, OPTIONAL, NULL, 0.1, 1000, NULL, "its diameter instead of the table's"},
    {"mouth", PARAM_LENGTH, OPTIONAL, NULL, 0.1, 1000, NULL,
     "the recess's diameter instead of the table's, for a head that was measured"},
    {"seat", PARAM_LENGTH, OPTIONAL, NULL, 0.01, 1000, NULL,
     "the counterbore's depth instead of the head's height of ISO 4762 and 0.4 mm"},
    FIXING_WALL,
    FIXING_ANYWAY,
    OP_PIECE,
    {0}};

const struct op op_bore = {
    .name = "bore",
    .key = "B",
    .title = "boring a hole",
    .undo = "bore a hole",
    .help = "bore a screw's hole, plain, countersunk or counterbored",
    .example = "bore at=@ screw=M4 head=countersunk",
    .manual =
        "The hole is as wide as ISO 273 says for the screw and fit, a counterbore as DIN 974-1, a "
        "countersink of 90 degrees as ISO 15065 (for socket heads DIN 74 form F); older DIN 963 "
        "and 965 heads are other sizes: measure yours and give mouth=. With insert= it is the "
        "pilot hole of a heat-set insert, as makers give it, with a wall beside it of half its "
        "width at least. The narrowest width is the table's, its facets stand out by 0.005 mm at "
        "most; printed holes come out smaller. Unless a direction is given, the hole is square to "
        "the plane that fits the surface best where the head or hole will be. Before it cuts it "
        "looks at the place: refused, with the number, is ground that is uneven or hangs over an "
        "edge, a wall too thin beside it, under it or behind the head, a depth that breaks through "
        "on the far side. The piece must be a solid; of several chosen ones the nearest is cut. "
        "The new faces are marked as made, and the width is measured back from the result.",
    .params = params,
    .run = bore_run,
    .sketch = bore_sketch,
    .tool = OP_POINT,
    .changes = true,
};
