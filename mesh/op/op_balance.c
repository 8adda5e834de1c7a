#include <stdlib.h>

#include "core/job.h"
#include "op/placing.h"
#include "solid/balance.h"

#define MATERIAL(name, density, source) " " #name
static const char material_names[] =
#include "solid/materials.def"
    ;
#undef MATERIAL

static const struct {
    const char *name, *source;
    double density;
} material[] = {
#define MATERIAL(name, density, source) {#name, source, density},
#include "solid/materials.def"
#undef MATERIAL
};

static const double alike = 1e-3; /* of the greatest: moments that count as equal */

static void tell_mass(const struct op_call *call, const struct balance *b)
{
    const struct value *own = op_value(call, "density");
    int chosen = op_value(call, "material")->choice;
    double density = own->given ? own->number : material[chosen].density;
    double grams = b->mass.amount / 1000 * density;
    job_note(call->job, "%.5g g: %.5g cm3 at %.4g g/cm3 (%s), solid throughout", grams,
             b->mass.amount / 1000, density, own->given ? "as given" : material[chosen].name);
    if (!own->given && material[chosen].source[0] == 'm')
        job_note(call->job,
                 "that density is a rule of thumb; density= takes that of the data sheet");
    const double scale = density / 1e5; /* mm5 to g cm2 */
    job_note(call->job, "moments of inertia about its axes: %.4g, %.4g, %.4g g cm2",
             b->moment[0] * scale, b->moment[1] * scale, b->moment[2] * scale);
    for (int i = 0; i < 3; i += 2) { /* of two that are alike any axis between is one */
        struct vec axis = placing_tidy(b->axis[i]);
        if (b->moment[i ? 2 : 1] - b->moment[i ? 1 : 0] > alike * b->moment[2])
            job_note(call->job, "the axis of the %s: %.4g, %.4g, %.4g", i ? "greatest" : "least",
                     axis.x, axis.y, axis.z);
    }
}

static void tell(const struct op_call *call, const struct balance *b)
{
    struct vec c = placing_tidy(b->mass.centre);
    if (b->mass.kind == MASS_SOLID)
        tell_mass(call, b);
    else
        job_note(call->job, "no mass: it is not a closed solid that faces outward; \"fill\", "
                            "\"orient\"");
    job_note(call->job, "centre of mass at %.6g, %.6g, %.6g mm", c.x, c.y, c.z);
    if (b->corners < 3)
        job_note(call->job,
                 "as it lies it touches the floor z = %.6g in %s only and does not stand; "
                 "\"stand\" finds a side",
                 b->floor, b->corners == 2 ? "a line" : "a point");
    else
        placing_tell_standing(&b->stand, call->job);
}

static enum status balance_run(struct op_call *call)
{
    const struct mesh **mesh;
    size_t count;
    struct balance balance;
    enum status status = placing_meshes(call, &mesh, &count);
    if (status != STATUS_OK)
        return status;
    status = balance_find(mesh, count, &balance, call->job);
    free(mesh);
    if (status == STATUS_OK)
        tell(call, &balance);
    return status;
}

static const struct param params[] = {
    {"material", PARAM_CHOICE, POSITIONAL, "pla", 0, 0, &material_names[1], "what it is made of"},
    {"density", PARAM_NUMBER, OPTIONAL, NULL, 1e-4, 100, NULL,
     "g/cm3, in place of the material's usual one"},
    OP_PIECE,
    {0}};

const struct op op_balance = {
    .name = "balance",
    .key = "W",
    .title = "weighing",
    .undo = "weigh",
    .help = "tell mass and centre of mass, and whether it stands as it lies",
    .manual =
        "Tells of the chosen pieces, taken together and as they lie: volume and mass, the centre "
        "of "
        "mass, the moments of inertia and their axes, by exact integrals over the closed surface, "
        "for one density throughout; a print with a sparse inside weighs less, and its centre of "
        "mass lies elsewhere. Then what it stands on: the outline of all that touches the floor "
        "below it, how far its centre of mass lies inside of that, and the angle at which it "
        "tips. Nothing is changed.",
    .params = params,
    .run = balance_run,
    .changes = false,
};
