#include "op/fixing.h"

#include <stdarg.h>
#include <stdio.h>

#include "core/job.h"
#include "solid/boolean.h"

static const double uneven_share = 0.1;
static const double off_rim = 0.02; /* mm: just beside a rim rays tell nothing */

enum status fixing_object(const struct op_call *call, const char *format, ...)
{
    char text[512];
    va_list list;
    va_start(list, format);
    vsnprintf(text, sizeof text, format, list);
    va_end(list);
    if (op_value(call, "anyway")->choice == 0)
        return job_fail(call->job, STATUS_REFUSED, "\"%s\": %s, or say anyway=yes", call->op->name,
                        text);
    job_note(call->job, "cut anyway: %s", text);
    return STATUS_OK;
}

enum status fixing_piece(const struct op_call *call, double reach, size_t *piece)
{
    struct nearest nearest;
    enum status status = op_nearest(call, false, piece, &nearest);
    if (status != STATUS_OK)
        return status;
    if (nearest.triangle == NO_INDEX)
        return job_fail(call->job, STATUS_REFUSED,
                        "\"%s\": there is no surface to cut into; \"fuse\" makes one of points",
                        call->op->name);
    if (nearest.distance <= reach)
        return STATUS_OK;
    struct vec at = mesh_world(call->in->piece[*piece]->mesh, nearest.point);
    return fixing_object(call,
                         "that place lies %.4g mm off the surface, the nearest of which is at "
                         "%.5g,%.5g,%.5g; name a place on it",
                         nearest.distance, at.x, at.y, at.z);
}

enum status fixing_ground(const struct op_call *call, const struct footing *footing, double width)
{
    double most = uneven_share * width;
    enum status status = STATUS_OK;
    if (footing->uneven > most)
        status = fixing_object(call,
                               "the surface there is uneven by %.3g mm over the %.4g mm that it "
                               "takes, more than %.3g mm; choose a flatter place",
                               footing->uneven, width, most);
    if (status == STATUS_OK && footing->hanging > 0)
        status = fixing_object(call,
                               "%.3g %% of the place that it takes hang over an edge; go farther "
                               "from it",
                               100 * footing->hanging);
    return status;
}

void fixing_span(const struct footing *footing, const struct footing_far *far,
                 const struct footing_far *wide, double wall, double depth, double *first,
                 double *last)
{
    double slope = 2 * wall, ends = fmin(depth, far->shallow);
    *first = fmax(footing->behind, fmin(wide->in, footing->behind + slope)) + off_rim;
    *last = fmin(ends, fmax(wide->shallow, far->shallow - slope)) - off_rim;
}

struct vec fixing_vec(const struct op_call *call, const char *param)
{
    const double *v = op_value(call, param)->vec;
    return vec(v[0], v[1], v[2]);
}

/* The old features that are left, and the new ones. */
static enum status add_fixings(const struct op_call *call, struct piece *piece,
                               const struct fixing *fixing, size_t count)
{
    struct fixings *kept = NULL;
    if (piece->fixings) {
        enum status status = fixings_look(piece->fixings, piece->mesh, &kept, call->job);
        if (status != STATUS_OK)
            return status;
    }
    struct fixings *all = fixings_with(kept, fixing, count);
    fixings_free(kept);
    if (!all)
        return job_fail_memory(call->job, count * sizeof *fixing);
    piece_set_fixings(piece, all);
    return STATUS_OK;
}

enum status fixing_cut(struct op_call *call, size_t piece, const struct mesh *tool,
                       const struct fixing *fixing, size_t count)
{
    const struct piece *old = call->in->piece[piece];
    struct mesh *made = NULL;
    enum status status = boolean_mesh(old->mesh, tool, BOOLEAN_SUBTRACT, &made, NULL, call->job);
    if (status != STATUS_OK)
        return status;
    struct piece *next = piece_new_like(old, made);
    if (!next)
        return job_fail_memory(call->job, sizeof *next);
    status = add_fixings(call, next, fixing, count);
    if (status != STATUS_OK)
        piece_free(next);
    else
        scene_replace(call->out, piece, next);
    return status;
}

enum status fixing_measure(const struct op_call *call, const char *param, enum measure measure,
                           double *mm)
{
    const struct value *value = op_value(call, param);
    enum screw screw = (enum screw)op_value(call, "screw")->choice;
    *mm = value->given ? value->number : screw_measure(screw, measure);
    if (*mm > 0)
        return STATUS_OK;
    return job_fail(call->job, STATUS_USAGE,
                    "\"%s\": %s has nothing for %s; give it as %s=", call->op->name,
                    measure_row(measure)->standard, screw_name(screw), param);
}
