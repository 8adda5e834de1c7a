#include <math.h>
#include <stdio.h>
#include <string.h>

#include "core/job.h"
#include "op/op.h"
#include "op/sketch.h"
#include "op/value.h"
#include "solid/footing.h"
#include "solid/hollow.h"
#include "solid/materials.h"

/* --- what is told ---------------------------------------------------------------------------- */

static const char *const end_name[] = {"where it is lowest", "where it is highest", "as picked"};

static double rounded_up(double mm)
{
    return ceil(1000 * mm) / 1000;
}

static void tell_left_solid(const struct hollow_report *r, struct job *job)
{
    char small[80] = "", tight[80] = "";
    if (r->small)
        snprintf(small, sizeof small, "%zu cavit%s too small to be worth a hole", r->small,
                 r->small == 1 ? "y" : "ies");
    if (r->tight)
        snprintf(tight, sizeof tight, "%s%zu cavit%s without a place for a hole",
                 r->small ? ", " : "", r->tight, r->tight == 1 ? "y" : "ies");
    job_note(job, "left solid: %s%s; together %.3g cm3", small, tight, r->solid / 1000);
}

static void tell_wall(const struct hollow_report *r, double wall, struct job *job)
{
    const struct offset_report *o = &r->offset;
    if (o->uneven > 0)
        job_note(job,
                 "a wall of %.4g mm: nowhere thinner than %.4g mm, and but for %.2g %% of it "
                 "nowhere thicker than %.6g mm; proved for every triangle",
                 wall, offset_nearest(wall), 100 * o->uneven, rounded_up(o->even));
    else
        job_note(job,
                 "a wall of %.4g mm: nowhere thinner than %.4g mm and nowhere thicker than %.6g "
                 "mm; proved for every triangle",
                 wall, offset_nearest(wall), rounded_up(o->even));
    if (o->bound > o->even && o->cell < o->spacing)
        job_note(job,
                 "thicker it is in corners too narrow for the cavity to follow with cells of %.3g "
                 "mm: %.6g mm at the most, thickest at %.5g, %.5g, %.5g; that is no fault",
                 o->cell, rounded_up(o->bound), o->at.x, o->at.y, o->at.z);
    else if (o->bound > o->even)
        job_note(job,
                 "there it is %.6g mm at the most, thickest at %.5g, %.5g, %.5g; a spacing= below "
                 "%.3g mm makes it more even",
                 rounded_up(o->bound), o->at.x, o->at.y, o->at.z, o->cell);
}

static void tell_inside(const struct hollow_report *r, struct job *job)
{
    job_note(job, "%zu cavit%s, %zu triangles, thinned out from %zu with cells of %.3g mm",
             r->cavities, r->cavities == 1 ? "y" : "ies", r->inner, r->offset.net, r->offset.cell);
    if (r->small + r->tight)
        tell_left_solid(r, job);
    if (r->loose)
        job_note(job,
                 "%zu older cavit%s inside: %s walls float in the new one and would come loose",
                 r->loose, r->loose == 1 ? "y is" : "ies are", r->loose == 1 ? "its" : "their");
}

static void tell_saving(const struct op_call *call, const struct hollow_report *r, struct job *job)
{
    const struct value *material = op_value(call, "material"), *own = op_value(call, "density");
    double before = r->before / 1000, after = r->after / 1000;
    job_note(job, "%.5g cm3 of %.5g cm3 saved, %.3g %%", before - after, before,
             100 * (before - after) / before);
    if (!material->given && !own->given)
        return;
    const struct material *row = material_row((size_t)material->choice);
    double density = own->given ? own->number : row->density;
    job_note(job, "%.5g g before, %.5g g now, at %.4g g/cm3 (%s)", before * density,
             after * density, density, own->given ? "as given" : row->name);
    if (!own->given && row->recalled)
        job_note(job, "that density is a rule of thumb; density= takes that of the data sheet");
}

/* A coordinate of a few digits, without the noise of a rounded zero. */
static double plain(double mm)
{
    return fabs(mm) < 1e-6 ? 0 : mm;
}

/* What stays, and what to type so that it does not: the drains that are there, and one more. */
static void tell_pools(const struct hollow_report *r, struct job *job)
{
    char places[HOLLOW_HOLES_MOST * 48];
    size_t used = 0;
    job_note(
        job,
        "standing as it does %.3g ml stay inside in %zu pool%s, %.3g ml in the greatest, whose "
        "bottom is at %.5g, %.5g, %.5g",
        r->trapped / 1000, r->pools, r->pools == 1 ? "" : "s", r->largest / 1000, plain(r->pool.x),
        plain(r->pool.y), plain(r->pool.z));
    if (!r->drainable) {
        job_note(job, "no other drain goes in there: tilt it, or give the drains' places with at=");
        return;
    }
    for (size_t i = 0; i <= r->holes; i++) {
        struct vec at = i < r->holes ? r->hole[i].at : r->more;
        used += (size_t)snprintf(places + used, sizeof places - used, "%s%.5g,%.5g,%.5g",
                                 i ? ";" : "", plain(at.x), plain(at.y), plain(at.z));
    }
    job_note(job, "tilt it; or undo, and hollow it with another drain there: at=%s", places);
}

static void tell_holes(const struct hollow_report *r, struct job *job)
{
    for (size_t i = 0; i < r->holes; i++) {
        const struct hollow_hole *h = &r->hole[i];
        job_note(job, "a drain of %.4g mm %s, at %.5g, %.5g, %.5g; measured back: %.5g mm",
                 h->width, end_name[h->end], plain(h->at.x), plain(h->at.y), plain(h->at.z),
                 h->back);
    }
    if (r->holes == 0)
        job_note(job, "no drains: whatever is liquid or loose inside stays there");
    else if (r->trapped < HOLLOW_NOTHING)
        job_note(job, "it drains: standing as it does less than %.2g ml stay inside",
                 HOLLOW_NOTHING / 1000.0);
    else
        tell_pools(r, job);
    if (r->crossings)
        job_note(job,
                 "%llu pairs of triangles at the holes still cross by rounding; choose other "
                 "places for them",
                 (unsigned long long)r->crossings);
}

/* The processes that make nothing so thin (so narrow); "" when all do. */
static void list_processes(double least, bool escape, char *out, size_t size)
{
    size_t used = 0;
    out[0] = '\0';
    for (size_t i = 0; process_row(i)->name; i++) {
        const struct process *p = process_row(i);
        double needs = escape ? p->escape : p->wall;
        if (needs > least && used < size)
            used += (size_t)snprintf(out + used, size - used, "%s%s (%.2g mm)", used ? ", " : "",
                                     p->name, needs);
    }
}

static void caution(double wall, double drain, size_t drains, struct job *job)
{
    char list[256];
    list_processes(wall, false, list, sizeof list);
    if (list[0])
        job_note(job, "that wall is thinner than bureaus take for %s", list);
    list_processes(drain, true, list, sizeof list);
    if (list[0] && drain > 0)
        job_note(job, "%s narrower than bureaus ask for with %s",
                 drains > 1 ? "those drains are" : "that drain is", list);
    job_note(job, "uncured resin irritates and sensitises: let none stay inside, vent and rinse, "
                  "follow the safety data sheet");
}

/* --- the work -------------------------------------------------------------------------------- */

static enum status read_places(const struct op_call *call, struct vec *at, size_t *count)
{
    double place[HOLLOW_HOLES_MOST][3];
    const struct value *value = op_value(call, "at");
    *count = 0;
    if (!value->given)
        return STATUS_OK;
    value_places(value->text, HOLLOW_HOLES_MOST, place, count);
    if (*count > HOLLOW_HOLES_MOST)
        return job_fail(call->job, STATUS_USAGE, "\"hollow\": at= takes %d places at most",
                        HOLLOW_HOLES_MOST);
    for (size_t i = 0; i < *count; i++)
        at[i] = vec(place[i][0], place[i][1], place[i][2]);
    return STATUS_OK;
}

static enum status hollow(const struct op_call *call, const struct mesh *mesh, struct mesh **out,
                          struct job *job)
{
    const struct value *spacing = op_value(call, "spacing");
    struct vec at[HOLLOW_HOLES_MOST];
    struct hollow_report report;
    struct hollow_options options = {.wall = op_value(call, "wall")->number,
                                     .drain = op_value(call, "drain")->number,
                                     .at = at,
                                     .spacing = spacing->given ? spacing->number : 0};
    enum status status = read_places(call, at, &options.places);
    if (status == STATUS_OK)
        status = hollow_mesh(mesh, &options, out, &report, job);
    if (status != STATUS_OK)
        return status;
    tell_wall(&report, options.wall, job);
    tell_inside(&report, job);
    tell_saving(call, &report, job);
    tell_holes(&report, job);
    caution(options.wall, options.drain, report.holes, job);
    return STATUS_OK;
}

static enum status hollow_run(struct op_call *call)
{
    return op_each(call, hollow);
}

/* A drain at a place, as far as it is known before the inside is. */
static enum status sketch_drain(const struct op_call *call, const struct mesh *mesh, struct vec at,
                                struct sketch *sketch)
{
    double width = op_value(call, "drain")->number;
    struct footing footing = {0};
    struct mesh *tool = NULL;
    enum status status = footing_find(mesh, at, NULL, vec(0, 0, 1),
                                      (struct footprint){width / 2, 0}, &footing, call->job);
    const struct bore bore = {.diameter = width,
                              .above = footing.before + 0.1,
                              .depth = footing.behind + op_value(call, "wall")->number};
    if (status == STATUS_OK)
        status = bore_cutter(&bore, &footing.place, &tool, call->job);
    if (status == STATUS_OK)
        status = sketch_creases(sketch, tool, call->job);
    mesh_free(tool);
    return status;
}

static enum status hollow_sketch(const struct op_call *call, struct sketch *sketch)
{
    struct vec at[HOLLOW_HOLES_MOST];
    size_t places, piece = op_chosen(call, 0);
    enum status status = read_places(call, at, &places);
    bool none = piece == call->in->count || !(op_value(call, "drain")->number > 0);
    for (size_t i = 0; i < places && status == STATUS_OK && !none; i++)
        status = sketch_drain(call, call->in->piece[piece]->mesh, at[i], sketch);
    return status;
}

static const struct param params[] = {
    {"wall", PARAM_LENGTH, POSITIONAL, "2", 0.05, 100000, NULL, "thickness of the wall"},
    {"drain", PARAM_LENGTH, OPTIONAL, "4", 0, 1000, NULL, "diameter of the drain holes; 0: none"},
    {"at", PARAM_PLACES, OPTIONAL, NULL, 0, 0, NULL,
     "where on the outside the drains go; else two a cavity, where it is lowest and where it is "
     "highest"},
    {"spacing", PARAM_LENGTH, OPTIONAL, "auto", 1e-4, 1e6, NULL,
     "about, of the inner surface's vertices before they are thinned out"},
    {"material", PARAM_CHOICE, OPTIONAL, NULL, 0, 0, MATERIAL_NAMES,
     "what it is made of: the mass before and after is told"},
    {"density", PARAM_NUMBER, OPTIONAL, NULL, 1e-4, 100, NULL,
     "g/cm3, in place of the material's usual one"},
    OP_PIECE,
    {0}};

const struct op op_hollow = {
    .name = "hollow",
    .key = "H",
    .title = "hollowing",
    .undo = "hollow",
    .help = "hollow a solid: an even wall, and holes through which it drains",
    .example = "hollow wall=2mm drain=5mm at=@1;@2",
    .manual =
        "The inside is taken out up to a wall that is as thick everywhere as asked: nowhere "
        "thinner by more than 0.01 mm, and nowhere thicker than is told, both of which is proved "
        "for every triangle. Thicker means: so far from the cavity to the nearest place outside. "
        "It is a twenty-fifth at the most where cells can be made fine enough for that (they are "
        "down to a quarter of the spacing where the wall needs it). What is left over, in corners "
        "narrower than these cells, into which the cavity does not follow, is no fault; how much "
        "that is, and how thick, is told apart. Where fewer triangles keep to that, and to a tenth "
        "of a millimetre, there are fewer: a flat inside has as few as it can, and stays flat. "
        "What is thinner than two walls stays solid. The outside's triangles stay bit for bit, the "
        "new ones are marked as made. The spacing is four tenths of the wall unless that gives too "
        "few or too many triangles. Each cavity gets two drains through the wall, square to it: "
        "where it is lowest as the piece stands, z up, and where it is highest, so that air comes "
        "in; a cavity smaller than a ball of twice the drain's diameter, or without a place for a "
        "hole, stays solid. Or the drains go where at= says, on the screen at=@1;@2. Then it is "
        "flooded: what stays inside as it stands is told, and where. Told too: wall and drains "
        "measured back, volume and mass saved, and what bureaus ask of walls and holes. The piece "
        "must be a solid that does not cross itself.",
    .params = params,
    .run = hollow_run,
    .sketch = hollow_sketch,
    .changes = true,
};
