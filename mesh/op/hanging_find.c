#include <math.h>
#include <stdio.h>
#include <stdlib.h>

#include "core/job.h"
#include "op/hanging.h"

static const double alike = 0.984807753012208; /* cosine of 10 degrees: what faces the same way */
static const double touches = 0.1;             /* mm: rims that are alike far from the wall */

struct finder {
    const struct op_call *call;
    const struct mesh *const *mesh;
    size_t meshes;
    const struct hanging_choice *choice;
    struct hanging *out;
};

/* --- which ---------------------------------------------------------------------------------- */

/* Whether the list "1,3" has the number. */
static bool in_list(const char *list, size_t number)
{
    for (const char *at = list; *at;) {
        char *end;
        if (strtoul(at, &end, 10) == number)
            return true;
        at = *end ? end + 1 : end;
    }
    return false;
}

static enum status judge_list(const struct finder *f)
{
    size_t count = f->out->found.count;
    for (const char *at = f->choice->only; *at;) {
        char *end;
        unsigned long number = strtoul(at, &end, 10);
        if (*at < '0' || *at > '9' || (*end && *end != ',') || (*end == ',' && !end[1]))
            return job_fail(f->call->job, STATUS_USAGE,
                            "\"%s\": only=%s must be numbers with commas between, such as 1,3",
                            f->call->op->name, f->choice->only);
        if (number < 1 || number > count)
            return job_fail(f->call->job, STATUS_REFUSED,
                            "\"%s\": only=%s: there %s only %zu; \"fixings\" lists them",
                            f->call->op->name, f->choice->only, count == 1 ? "is" : "are", count);
        const struct fixing *fixing = f->out->found.item[number - 1];
        if (fixing->kind == FIXING_BORE && !fixing->clear)
            return job_fail(
                f->call->job, STATUS_REFUSED,
                "\"%s\": only=%s: number %lu does not go straight through the part; leave it "
                "out",
                f->call->op->name, f->choice->only, number);
        at = *end ? end + 1 : end;
    }
    return STATUS_OK;
}

static bool is_screwable(const struct fixing *f)
{
    return f->kind == FIXING_BORE && f->clear && (f->shank > 0 || f->screw[0]);
}

static bool is_wanted(const struct finder *f, size_t i, enum fixing_kind kind, bool of_kind)
{
    const struct fixing *fixing = f->out->found.item[i];
    if (fixing->kind != kind)
        return false;
    if (f->choice->only[0])
        return in_list(f->choice->only, i + 1);
    return of_kind && (kind == FIXING_KEYHOLE || is_screwable(fixing));
}

/* The keyholes that face as the first does; how many others there are. */
static size_t take_keyholes(const struct finder *f)
{
    struct hanging *out = f->out;
    size_t others = 0;
    for (size_t i = 0; i < out->found.count; i++) {
        const struct fixing *fixing = out->found.item[i], *first = out->by[0];
        if (!is_wanted(f, i, FIXING_KEYHOLE, f->choice->keyholes))
            continue;
        bool like = out->keyholes == 0 || (vec_dot(fixing->along, first->along) > alike &&
                                           vec_dot(fixing->up, first->up) > 0);
        if (like)
            out->by[out->keyholes++] = fixing;
        else
            others++;
    }
    return others;
}

/* The bores that run about the way the first taken does. */
static size_t take_bores(const struct finder *f, bool of_kind)
{
    struct hanging *out = f->out;
    size_t others = 0;
    for (size_t i = 0; i < out->found.count; i++) {
        const struct fixing *fixing = out->found.item[i];
        out->screwable += is_screwable(fixing);
        if (!is_wanted(f, i, FIXING_BORE, of_kind))
            continue;
        bool first = out->keyholes + out->bores == 0;
        if (first || fabs(vec_dot(fixing->along, out->by[0]->along)) > alike)
            out->by[out->keyholes + out->bores++] = fixing;
        else
            others++;
    }
    return others;
}

/* --- where the wall is ----------------------------------------------------------------------- */

/* How far before the part's farthest place that way the holes end, at the least. */
static double before_end(const struct finder *f, struct vec way)
{
    double far = -INFINITY, ends = -INFINITY;
    for (size_t m = 0; m < f->meshes; m++)
        for (size_t v = 0; v < mesh_vertices(f->mesh[m]); v++)
            far = fmax(far,
                       vec_dot(mesh_world(f->mesh[m], point_vec(mesh_point(f->mesh[m])[v])), way));
    for (size_t i = 0; i < f->out->bores; i++) {
        const struct fixing *bore = f->out->by[i];
        struct vec other = vec_along(bore->at, bore->length, bore->along);
        ends = fmax(ends, fmax(vec_dot(bore->at, way), vec_dot(other, way)));
    }
    return far - ends;
}

/* Towards the wall, along the holes: as told, else away from the heads' recesses, else where their
 * rims touch it, else where they were bored to. */
static enum status find_wall(const struct finder *f, struct vec *way)
{
    const struct fixing *first = f->out->by[0];
    const struct vec *wall = f->choice->wall;
    double heads = 0, given = wall ? vec_dot(vec_unit(*wall), first->along) : 0;
    *way = first->along;
    if (wall && fabs(given) < 0.5)
        return job_fail(f->call->job, STATUS_REFUSED,
                        "\"%s\": the holes run along %.3g, %.3g, %.3g, not to the side that wall= "
                        "names",
                        f->call->op->name, way->x, way->y, way->z);
    for (size_t i = 0; i < f->out->bores; i++)
        if (f->out->by[i]->mouth > 0)
            heads += vec_dot(f->out->by[i]->along, first->along) > 0 ? 1 : -1;
    double ahead = before_end(f, *way), behind = before_end(f, vec_scale(*way, -1));
    double turn = wall ? given : heads != 0 ? heads : ahead - behind > touches ? -1 : 1;
    *way = vec_scale(*way, turn < 0 ? -1 : 1);
    if (!wall)
        job_note(f->call->job,
                 "the wall is taken to be on its side towards %.3g, %.3g, %.3g; wall= says another",
                 way->x + 0.0, way->y + 0.0, way->z + 0.0);
    return STATUS_OK;
}

/* --- how it is held --------------------------------------------------------------------------- */

static enum status hang_by_keyholes(const struct finder *f, const struct mass *mass)
{
    struct hanging *out = f->out;
    struct hook *hook = malloc(out->keyholes * sizeof *hook);
    if (!hook)
        return job_fail_memory(f->call->job, out->keyholes * sizeof *hook);
    for (size_t i = 0; i < out->keyholes; i++) {
        const struct fixing *key = out->by[i];
        hook[i] = (struct hook){key->at, key->along, key->up, fmax(key->width - key->shank, 0)};
    }
    enum status status =
        hang_find(f->mesh, f->meshes, mass, hook, out->keyholes, &out->hang, f->call->job);
    free(hook);
    if (status == STATUS_OK && out->keyholes > 2)
        job_note(f->call->job, "of its %zu keyholes the two farthest apart are taken to bear it",
                 out->keyholes);
    return status;
}

/* Held by screws through bores, so that one keyhole does not let it swing. */
static enum status hold_by_bores(const struct finder *f, const struct mass *mass)
{
    struct hanging *out = f->out;
    const struct fixing *first = out->by[0];
    struct vec way = vec_scale(first->along, -1), up = first->up;
    enum status status = STATUS_OK;
    struct vec *place = malloc(out->bores * sizeof *place);
    if (!place)
        return job_fail_memory(f->call->job, out->bores * sizeof *place);
    if (out->keyholes == 0) {
        up = f->choice->up;
        status = find_wall(f, &way);
    }
    for (size_t i = 0; i < out->bores; i++)
        place[i] = out->by[out->keyholes + i]->at;
    if (out->keyholes)
        place[0] = first->at;
    if (status == STATUS_OK)
        status = hang_fix(f->mesh, f->meshes, mass, place, out->keyholes ? 1 : out->bores,
                          vec_scale(way, -1), up, &out->hang, f->call->job);
    free(place);
    return status;
}

/* A head's recess is to be seen from the front, which is where the body's out is. */
static void tell_heads(const struct finder *f)
{
    size_t turned = 0;
    for (size_t i = f->out->keyholes; i < f->out->keyholes + f->out->bores; i++) {
        const struct fixing *bore = f->out->by[i];
        turned += bore->mouth > 0 && vec_dot(bore->along, f->out->hang.out) > 0;
    }
    if (turned)
        job_note(f->call->job, "the recess for the head of %zu of the screws is on the wall's side",
                 turned);
}

static void tell_others(const struct finder *f, size_t keyholes, size_t bores)
{
    if (keyholes)
        job_note(f->call->job, "%zu keyholes that face another way than the first are left out",
                 keyholes);
    if (bores)
        job_note(f->call->job, "%zu holes that run another way than the first are left out", bores);
}

enum status hanging_find(const struct op_call *call, const struct mesh *const *mesh, size_t count,
                         const struct mass *mass, const struct hanging_choice *choice,
                         struct hanging *out)
{
    const struct finder f = {call, mesh, count, choice, out};
    *out = (struct hanging){0};
    enum status status = found_all(call, &out->found);
    if (status == STATUS_OK)
        status = judge_list(&f);
    if (status != STATUS_OK || out->found.count == 0)
        return status;
    out->by = calloc(out->found.count, sizeof *out->by);
    if (!out->by)
        return job_fail_memory(call->job, out->found.count * sizeof *out->by);
    size_t keyholes = take_keyholes(&f);
    bool bores = choice->bores || (choice->bores_instead && out->keyholes == 0);
    size_t others = take_bores(&f, bores);
    if (out->keyholes == 0 && out->bores == 0)
        return STATUS_OK;
    status =
        out->keyholes > 1 || out->bores == 0 ? hang_by_keyholes(&f, mass) : hold_by_bores(&f, mass);
    if (status == STATUS_OK) {
        tell_others(&f, keyholes, others);
        tell_heads(&f);
    }
    return status;
}

void hanging_release(struct hanging *hanging)
{
    found_release(&hanging->found);
    free(hanging->by);
    *hanging = (struct hanging){0};
}
