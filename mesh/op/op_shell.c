#include <math.h>

#include "core/job.h"
#include "op/op.h"
#include "solid/shell.h"

static double rounded_up(double mm)
{
    return ceil(1000 * mm) / 1000;
}

static void tell_distance(const struct offset_report *r, double by, struct job *job)
{
    if (r->uneven > 0)
        job_note(
            job,
            "the new surface is nowhere nearer than %.4g mm, and but for %.2g %% of it nowhere "
            "farther than %.6g mm; proved for every triangle",
            offset_nearest(by), 100 * r->uneven, rounded_up(r->even));
    else
        job_note(job,
                 "the new surface is nowhere nearer than %.4g mm and nowhere farther than %.6g mm; "
                 "proved for every triangle",
                 offset_nearest(by), rounded_up(r->even));
    if (r->bound > r->even)
        job_note(job,
                 "in corners that cells of %.3g mm are too coarse for it is %.6g mm at the most, "
                 "farthest at %.5g, %.5g, %.5g",
                 r->cell, rounded_up(r->bound), r->at.x, r->at.y, r->at.z);
}

static enum status shell(const struct op_call *call, const struct mesh *mesh, struct mesh **out,
                         struct job *job)
{
    const struct value *spacing = op_value(call, "spacing");
    bool inward = op_value(call, "side")->choice == 1, skin = op_value(call, "as")->choice == 1;
    struct shell_options options = {.offset = {.by = op_value(call, "by")->number,
                                               .inward = inward,
                                               .spacing = spacing->given ? spacing->number : 0,
                                               .hidden = inward && skin},
                                    .skin = skin};
    struct offset_report report;
    enum status status = shell_mesh(mesh, &options, out, &report, job);
    if (status != STATUS_OK)
        return status;
    job_note(job,
             "%s %.4g mm %s the surface; %zu new triangles, thinned out from %zu with cells of "
             "%.3g mm",
             options.skin ? "a skin to" : "the solid to", options.offset.by,
             options.offset.inward ? "within" : "outside of", report.made, report.net, report.cell);
    tell_distance(&report, options.offset.by, job);
    return STATUS_OK;
}

static enum status shell_run(struct op_call *call)
{
    return op_each(call, shell);
}

static const struct param params[] = {
    {"by", PARAM_LENGTH, REQUIRED_POSITIONAL, NULL, 0.01, 100000, NULL,
     "how far the new surface is from the old one"},
    {"side", PARAM_CHOICE, OPTIONAL, "outward", 0, 0, "outward inward",
     "where the new surface lies"},
    {"as", PARAM_CHOICE, OPTIONAL, "whole", 0, 0, "whole skin",
     "the whole solid out to the new surface, or only the skin between the two"},
    {"spacing", PARAM_LENGTH, OPTIONAL, "auto", 1e-4, 1e6, NULL,
     "about, of the new vertices before they are thinned out"},
    OP_PIECE,
    {0}};

const struct op op_shell = {
    .name = "shell",
    .key = "L",
    .title = "making a shell",
    .undo = "make a shell",
    .help = "grow or shrink a solid, or make a skin of it",
    .example = "shell by=0.3mm side=inward",
    .manual =
        "The new surface has the given distance from the old one everywhere: whole, the solid "
        "grows by that (outward) or shrinks (inward); as a skin what lies between the two is left, "
        "the old triangles bit for bit: outward a coat or mould around the part, inward a part "
        "hollowed without holes (hollow makes them). Distances round what sticks out towards the "
        "new surface's side, and leave sharp what recedes from it: outward the edges of a box are "
        "rounded with that radius and its inner corners stay sharp; inward its edges stay sharp "
        "and inner corners are rounded. What is thinner than twice the distance vanishes inward, "
        "gaps as narrow close outward, and room narrower than the spacing of the cells counts as "
        "closed. No triangle is nearer than the distance less 0.01 mm, and none farther off than "
        "is told; both is proved. That is a twenty-fifth where the spacing can be made fine enough "
        "(cells are down to a quarter of it where that is needed); how much is left over in "
        "corners narrower than that, and how far it is, is told apart. Where fewer triangles are "
        "at most 0.005 mm farther off there are fewer, and inside a skin, where nobody sees them, "
        "where these are within what is told and 0.1 mm: what is flat has as few as it can, and "
        "stays flat. The spacing is four tenths of the distance unless that gives too few or too "
        "many triangles. The piece must be a solid that does not cross itself.",
    .params = params,
    .run = shell_run,
    .changes = true,
};
