#include "op/fixings.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "core/job.h"
#include "core/tree.h"

struct fixings *fixings_with(const struct fixings *old, const struct fixing *more, size_t count)
{
    size_t before = old ? old->count : 0;
    struct fixings *list = malloc(sizeof *list + (before + count) * sizeof *list->item);
    if (!list)
        return NULL;
    atomic_init(&list->refs, 1);
    list->count = before + count;
    if (before)
        memcpy(list->item, old->item, before * sizeof *list->item);
    if (count)
        memcpy(list->item + before, more, count * sizeof *list->item);
    return list;
}

struct fixings *fixings_share(const struct fixings *fixings)
{
    struct fixings *shared =
        (struct fixings *)(uintptr_t)fixings; /* the count is not of the value */
    if (shared)
        atomic_fetch_add_explicit(&shared->refs, 1, memory_order_relaxed);
    return shared;
}

void fixings_free(struct fixings *fixings)
{
    if (fixings && atomic_fetch_sub_explicit(&fixings->refs, 1, memory_order_acq_rel) == 1)
        free(fixings);
}

bool fixing_same(const struct fixing *a, const struct fixing *b)
{
    struct vec from = vec_along(a->at, a->depth, a->along),
               to = vec_along(b->at, b->depth, b->along);
    double along = vec_dot(a->along, b->along), slack = 0.1 * a->width;
    bool about = a->kind == FIXING_BORE ? fabs(along) > 0.99 : along > 0.99;
    struct vec between = vec_sub(to, from);
    double far = vec_dot(between, a->along),
           beside = vec_length(vec_along(between, -far, a->along));
    double deep = fmax(a->length, b->length) + fmax(a->lip, b->lip);
    return a->kind == b->kind && about && fabs(a->width - b->width) < slack && beside < slack &&
           fabs(far) < deep / 2;
}

/* --- moved with the piece ------------------------------------------------------------------- */

static void move(struct fixing *f, const struct motion *motion)
{
    double s = motion->scale;
    f->at = motion_apply(motion, f->at);
    f->along = vec_unit(motion_direction(motion, f->along));
    f->up = vec_unit(motion_direction(motion, f->up));
    if (s == 1)
        return;
    f->screw[0] = '\0';
    f->by = f->recess_by = NULL;
    f->shank *= s, f->head *= s, f->width *= s, f->depth *= s;
    f->length *= s, f->mouth *= s, f->sunk *= s;
    f->entry *= s, f->travel *= s, f->lip *= s, f->pocket *= s, f->room *= s;
}

struct fixings *fixings_moved(const struct fixings *fixings, const struct motion *motion)
{
    struct fixings *list = fixings_with(fixings, NULL, 0);
    for (size_t i = 0; list && i < list->count; i++)
        move(&list->item[i], motion);
    return list;
}

/* --- looked for again ------------------------------------------------------------------------ */

/* Whether the surface lies `distance` mm from a place that way, more or less. */
static bool wall_at(const struct tree *tree, struct vec from, struct vec way, double distance,
                    double slack)
{
    struct hit hit = tree_ray(tree, from, way, 0, distance + slack);
    return hit.triangle != NO_INDEX && hit.t >= distance - slack;
}

/* Whether the hole is as wide there as it was: looked at to both sides. */
static bool is_hole(const struct tree *tree, const struct fixing *f, struct vec from, double width)
{
    struct vec side = vec_cross(f->up, f->along);
    double slack = 0.05 * width + 0.15;
    return wall_at(tree, from, side, width / 2, slack) &&
           wall_at(tree, from, vec_scale(side, -1), width / 2, slack);
}

static bool is_there(const struct fixing *f, const struct tree *tree, const struct mesh *mesh)
{
    struct vec at = mesh_local(mesh, f->at), shank = vec_along(at, f->depth, f->along);
    if (f->kind == FIXING_BORE)
        return is_hole(tree, f, shank, f->width);
    double wide = fmin(f->room, f->entry), deep = fmin(f->pocket, f->entry) / 2;
    struct vec head = vec_along(at, f->lip + deep, f->along);
    struct vec behind = vec_along(head, (f->width / 2 + wide / 2) / 2, f->up);
    double slack = 0.2 * deep + 0.3;
    return is_hole(tree, f, shank, f->width) &&
           (f->room > 2 * f->entry || is_hole(tree, f, head, f->room)) &&
           wall_at(tree, shank, f->up, f->width / 2, slack) &&
           wall_at(tree, behind, vec_scale(f->along, -1), deep, slack);
}

enum status fixings_look(const struct fixings *fixings, const struct mesh *mesh,
                         struct fixings **kept, struct job *job)
{
    *kept = NULL;
    const struct tree *tree = mesh_triangles(mesh) ? mesh_tree(mesh, job) : NULL;
    if (!tree && mesh_triangles(mesh))
        return job_status(job);
    struct fixings *list = fixings_with(fixings, NULL, 0);
    if (!list)
        return job_fail_memory(job, sizeof *list);
    size_t n = 0;
    for (size_t i = 0; i < list->count; i++)
        if (tree && is_there(&list->item[i], tree, mesh))
            list->item[n++] = list->item[i];
    bool all = n == list->count;
    list->count = n;
    if (all || n == 0) {
        fixings_free(list);
        list = all ? fixings_share(fixings) : NULL;
    }
    *kept = list;
    return STATUS_OK;
}
