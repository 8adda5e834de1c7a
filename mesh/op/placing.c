#include "op/placing.h"

#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "core/job.h"
#include "core/topology.h"

enum status placing_meshes(const struct op_call *call, const struct mesh ***mesh, size_t *count)
{
    const struct scene *in = call->in;
    enum status status = op_any_chosen(call);
    *count = 0;
    *mesh = status == STATUS_OK ? malloc((in->count + 1) * sizeof **mesh) : NULL;
    if (status == STATUS_OK && !*mesh)
        return job_fail_memory(call->job, in->count * sizeof **mesh);
    for (size_t i = op_chosen(call, 0); *mesh && i < in->count; i = op_chosen(call, i + 1))
        (*mesh)[(*count)++] = in->piece[i]->mesh;
    return status;
}

enum status placing_box(const struct op_call *call, struct vec *min, struct vec *max)
{
    const struct mesh **mesh;
    size_t count;
    enum status status = placing_meshes(call, &mesh, &count);
    if (status != STATUS_OK)
        return status;
    status = meshes_box(mesh, count, min, max, call->job);
    free(mesh);
    if (status == STATUS_OK && !(min->x <= max->x))
        return job_fail(call->job, STATUS_REFUSED, "\"%s\": the piece is empty", call->op->name);
    return status;
}

enum status placing_unlocked(const struct op_call *call, size_t i)
{
    if (!call->in->piece[i]->locked)
        return STATUS_OK;
    return job_fail(call->job, STATUS_REFUSED,
                    "\"%s\": piece %zu is locked; unlock it first: \"unlock %zu\"", call->op->name,
                    i + 1, i + 1);
}

static void remember(struct piece *piece, const struct motion *motion)
{
    struct rigid by = {.shift = motion->shift};
    if (motion->scale != 1 || motion_mirrors(motion))
        return;
    memcpy(by.turn, motion->turn, sizeof by.turn);
    struct rigid pose = rigid_then(&piece->pose, &by);
    piece->pose = rigid_tidy(&pose);
}

static enum status move_fixings(const struct op_call *call, struct piece *piece,
                                const struct motion *motion)
{
    struct fixings *moved = piece->fixings ? fixings_moved(piece->fixings, motion) : NULL;
    if (piece->fixings && !moved)
        return job_fail_memory(call->job, sizeof *moved);
    if (moved && motion->scale != 1)
        job_note(call->job,
                 "%s: its holes and keyholes are %.6g times as large now, too, and fit their "
                 "screws no longer; scale first, then cut them",
                 piece->name, motion->scale);
    piece_set_fixings(piece, moved);
    return STATUS_OK;
}

enum status placing_move_piece(struct op_call *call, size_t i, const struct motion *motion)
{
    enum status status = placing_unlocked(call, i);
    if (status != STATUS_OK)
        return status;
    struct mesh *moved = motion_mesh(motion, call->in->piece[i]->mesh, call->job);
    struct piece *piece = moved ? piece_new_like(call->in->piece[i], moved) : NULL;
    if (!piece)
        return moved ? job_fail_memory(call->job, sizeof *piece) : job_status(call->job);
    remember(piece, motion);
    status = move_fixings(call, piece, motion);
    if (status != STATUS_OK)
        piece_free(piece);
    else
        scene_replace(call->out, i, piece);
    return status;
}

enum status placing_move(struct op_call *call, const struct motion *motion)
{
    const struct scene *in = call->in;
    enum status status = STATUS_OK;
    size_t i = op_chosen(call, 0);
    for (; i < in->count && status == STATUS_OK; i = op_chosen(call, i + 1))
        status = placing_unlocked(call, i); /* all of them before any work is done */
    for (i = op_chosen(call, 0); i < in->count && status == STATUS_OK; i = op_chosen(call, i + 1))
        status = placing_move_piece(call, i, motion);
    return status;
}

enum status placing_move_rigid(struct op_call *call, size_t i, const struct rigid *rigid)
{
    struct motion motion = {.scale = 1, .shift = rigid->shift};
    memcpy(motion.turn, rigid->turn, sizeof motion.turn);
    return placing_move_piece(call, i, &motion);
}

enum status placing_pair(const struct op_call *call, size_t *moving, size_t *fixed)
{
    double a = op_value(call, "moving")->number, b = op_value(call, "fixed")->number;
    if (a < 1 || b < 1)
        return job_fail(call->job, STATUS_USAGE,
                        "\"%s\": %s must be one piece's number, not all; register several pieces "
                        "with \"align\"",
                        call->op->name, a < 1 ? "moving" : "fixed");
    if (a == b)
        return job_fail(call->job, STATUS_USAGE,
                        "\"%s\": piece %.0f cannot be fitted to itself; name two: moving=2 fixed=1",
                        call->op->name, a);
    *moving = (size_t)a - 1;
    *fixed = (size_t)b - 1;
    return placing_unlocked(call, *moving);
}

void placing_tell(const struct op_call *call, size_t i, const struct rigid *rigid)
{
    const struct bounds *box = mesh_bounds(call->in->piece[i]->mesh, call->job);
    struct rigid rest = rigid_rest();
    struct vec centre = box ? box->centre : vec(0, 0, 0);
    struct vec by = vec_sub(rigid_apply(rigid, centre), centre);
    job_note(call->job, "moved by %.4g mm, turned by %.3g degrees", vec_length(by),
             rigid_angle(rigid, &rest) * 180 / 3.14159265358979323846);
}

static double tidy(double x)
{
    return fabs(x) < 1e-6 ? 0 : x;
}

struct vec placing_tidy(struct vec place)
{
    return vec(tidy(place.x), tidy(place.y), tidy(place.z));
}

/* The box around the chosen pieces as they are now; min above max: nothing is in it. */
static enum status box_now(const struct op_call *call, struct vec *min, struct vec *max)
{
    size_t n = 0;
    const struct mesh **mesh = malloc((call->in->count + 1) * sizeof *mesh);
    if (!mesh)
        return job_fail_memory(call->job, call->in->count * sizeof *mesh);
    for (size_t i = op_chosen(call, 0); i < call->in->count; i = op_chosen(call, i + 1))
        mesh[n++] = call->out->piece[i]->mesh;
    enum status status = meshes_box(mesh, n, min, max, call->job);
    free(mesh);
    return status;
}

enum status placing_tell_box(const struct op_call *call, const char *format, ...)
{
    char done[256];
    va_list list;
    struct vec min, max;
    va_start(list, format);
    vsnprintf(done, sizeof done, format, list);
    va_end(list);
    enum status status = box_now(call, &min, &max);
    if (status != STATUS_OK)
        return status;
    bool empty = !(min.x <= max.x);
    min = placing_tidy(min);
    max = placing_tidy(max);
    if (empty)
        job_note(call->job, "%s", done);
    else
        job_note(call->job, "%s: now from %.5g, %.5g, %.5g to %.5g, %.5g, %.5g mm", done, min.x,
                 min.y, min.z, max.x, max.y, max.z);
    return STATUS_OK;
}

void placing_tell_standing(const struct stand_report *r, struct job *job)
{
    static const char *const of[] = {"volume", "surface", "points"};
    job_note(job, "stands on %.4g mm2; centre of mass (of its %s) %.4g mm up", r->area, of[r->of],
             r->height);
    if (r->tilt < 0)
        job_note(job,
                 "it does not stay so by itself: its centre of mass is %.3g mm beside that side",
                 -r->margin);
    else
        job_note(job, "it tips over when tilted by %.3g degrees: %.3g mm from the edge of its foot",
                 r->tilt, r->margin);
}
