#include <stdlib.h>

#include "core/job.h"
#include "op/fixing.h"
#include "op/hanging.h"
#include "op/placing.h"
#include "op/sketch.h"
#include "solid/balance.h"
#include "solid/materials.h"

static const double alike = 1e-3; /* of the greatest: moments that count as equal */

static const struct material *material_of(const struct op_call *call)
{
    return material_row((size_t)op_value(call, "material")->choice);
}

static double density_of(const struct op_call *call)
{
    const struct value *own = op_value(call, "density");
    return own->given ? own->number : material_of(call)->density;
}

/* 0: it has none. */
static double grams_of(const struct op_call *call, const struct balance *b)
{
    return b->mass.kind == MASS_SOLID ? b->mass.amount / 1000 * density_of(call) : 0;
}

static void tell_mass(const struct op_call *call, const struct balance *b)
{
    const struct value *own = op_value(call, "density");
    double density = density_of(call), grams = grams_of(call, b);
    job_note(call->job,
             "%.5g g: %.5g cm3 at %.4g g/cm3 (%s), "
             "the material within its walls taken as printed full",
             grams, b->mass.amount / 1000, density,
             own->given ? "as given" : material_of(call)->name);
    if (!own->given && material_of(call)->recalled)
        job_note(call->job,
                 "that density is a rule of thumb; density= takes that of the data sheet");
}

static void tell_moments(const struct op_call *call, const struct balance *b)
{
    const double scale = density_of(call) / 1e5; /* mm5 to g cm2 */
    job_note(call->job, "moments of inertia about its axes: %.4g, %.4g, %.4g g cm2",
             b->moment[0] * scale, b->moment[1] * scale, b->moment[2] * scale);
    for (int i = 0; i < 3; i += 2) { /* of two that are alike any axis between is one */
        struct vec axis = placing_tidy(b->axis[i]);
        if (b->moment[i ? 2 : 1] - b->moment[i ? 1 : 0] > alike * b->moment[2])
            job_note(call->job, "the axis of the %s: %.4g, %.4g, %.4g", i ? "greatest" : "least",
                     axis.x, axis.y, axis.z);
    }
}

static void tell_standing(const struct op_call *call, const struct balance *b)
{
    if (b->corners < 3)
        job_note(call->job,
                 "as it lies it touches the floor z = %.6g in %s only and does not stand; "
                 "\"stand\" finds a side",
                 b->floor, b->corners == 2 ? "a line" : "a point");
    else
        placing_tell_standing(&b->stand, call->job);
}

static void tell_centre(const struct op_call *call, const struct balance *b)
{
    struct vec c = placing_tidy(b->mass.centre);
    if (b->mass.kind == MASS_SOLID)
        tell_mass(call, b);
    else
        job_note(call->job, "no mass: it is not a closed solid that faces outward; \"fill\", "
                            "\"orient\"");
    job_note(call->job, "centre of mass at %.6g, %.6g, %.6g mm", c.x, c.y, c.z);
}

struct weighed {
    struct balance balance;
    struct hanging hanging;
};

/* What was weighed is the caller's to release, also on failure. */
static enum status weigh(const struct op_call *call, struct weighed *w)
{
    static const struct hanging_choice keyholes = {.keyholes = true, .only = ""};
    const struct mesh **mesh;
    size_t count;
    enum status status = placing_meshes(call, &mesh, &count);
    if (status != STATUS_OK)
        return status;
    status = balance_find(mesh, count, &w->balance, call->job);
    if (status == STATUS_OK)
        status = hanging_find(call, mesh, count, &w->balance.mass, &keyholes, &w->hanging);
    free(mesh);
    return status;
}

static void tell_fixings(const struct op_call *call, const struct weighed *w)
{
    if (w->hanging.keyholes)
        hanging_tell(call, &w->hanging.hang, grams_of(call, &w->balance));
    if (w->hanging.screwable)
        job_note(call->job,
                 "it has %zu hole%s for screws through it: screwed on it stays as it is put; "
                 "\"template\" draws where to drill",
                 w->hanging.screwable, w->hanging.screwable == 1 ? "" : "s");
    if (w->hanging.keyholes || w->hanging.screwable)
        job_note(call->job, FIXING_CAUTION);
}

static enum status balance_run(struct op_call *call)
{
    struct weighed w = {0};
    const struct balance *b = &w.balance;
    enum status status = weigh(call, &w);
    if (status == STATUS_OK) {
        /* what matters most comes last: there the screen shows it below the picture */
        tell_centre(call, b);
        if (b->mass.kind == MASS_SOLID)
            tell_moments(call, b);
        tell_standing(call, b);
        tell_fixings(call, &w);
    }
    hanging_release(&w.hanging);
    return status;
}

/* The plumb line to the floor. */
static enum status draw_standing(const struct op_call *call, const struct balance *b,
                                 struct sketch *sketch)
{
    struct vec centre = b->mass.centre, foot = vec(centre.x, centre.y, b->floor);
    enum status status = sketch_line(sketch, centre, foot, call->job);
    return status == STATUS_OK ? sketch_mark(sketch, centre, 'M', call->job) : status;
}

/* The centre of mass and the plumb line: to the floor, or as it hangs. */
static enum status balance_sketch(const struct op_call *call, struct sketch *sketch)
{
    struct weighed w = {0};
    enum status status = weigh(call, &w);
    bool hangs = w.hanging.keyholes > 0;
    if (status == STATUS_OK && hangs)
        hanging_tell(call, &w.hanging.hang, grams_of(call, &w.balance));
    if (status == STATUS_OK && hangs)
        job_note(call->job, FIXING_CAUTION);
    else if (status == STATUS_OK)
        tell_standing(call, &w.balance);
    if (status == STATUS_OK)
        status = hangs ? hanging_sketch(call, &w.hanging.hang, w.balance.mass.centre, sketch)
                       : draw_standing(call, &w.balance, sketch);
    hanging_release(&w.hanging);
    return status;
}

static const struct param params[] = {
    {"material", PARAM_CHOICE, POSITIONAL, "pla", 0, 0, MATERIAL_NAMES, "what it is made of"},
    {"density", PARAM_NUMBER, OPTIONAL, NULL, 1e-4, 100, NULL,
     "g/cm3, in place of the material's usual one"},
    OP_PIECE,
    {0}};

const struct op op_balance = {
    .name = "balance",
    .key = "W",
    .title = "weighing",
    .undo = "weigh",
    .help = "tell mass, centre of mass, how it stands and how it hangs",
    .example = "balance material=petg",
    .manual =
        "Tells of the chosen pieces, taken together and as they lie: volume and mass, the centre "
        "of mass, the moments of inertia and their axes, by exact integrals over the closed "
        "surface, for one density, the material within its walls taken as printed full and closed "
        "hollows as empty; a print with a sparse inside weighs less, and its centre of mass lies "
        "elsewhere. Then what it stands on: the outline of all that touches the floor below it, "
        "how far its centre of mass lies inside of that, and the angle at which it tips. Has it "
        "keyholes, cut here or found in its surface, then also how it hangs by them on an upright "
        "wall, its screws square to that and level, when nothing sticks: by one it swings until "
        "its centre of mass is below the screw, by two the line between them comes level; how far "
        "off level that is, how far its centre of mass lies before the wall and what pull comes of "
        "it. At the screen the centre of mass (M), the plumb line, the screws (o) and what is "
        "level are drawn. Nothing is changed.",
    .params = params,
    .run = balance_run,
    .sketch = balance_sketch,
    .changes = false,
};
