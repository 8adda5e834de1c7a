/* All round walls of a mesh. Seeds are scouted first, district by district, by as many threads as
 * there are: nearly all lead to no wall. Those that are left are followed one after the other, as a
 * triangle belongs to one wall alone. */
#include <float.h>
#include <stdlib.h>
#include <string.h>

#include "check/round_parts.h"
#include "core/sort.h"

enum { LOOK = 1024 }; /* triangles between two looks at cancel */

static const double degree = 3.14159265358979323846 / 180;
static const double edge_turn = 1;   /* degrees: one that tells by itself */
static const double most_turn = 46;  /* degrees: eight facets a circle */
static const double least_arc = 100; /* degrees of the circle */

struct face round_face(const struct rounds *rounds, uint32_t triangle)
{
    const struct mesh *mesh = rounds->mesh;
    const uint32_t *v = mesh_triangle(mesh)[triangle].v;
    struct face f;
    for (int k = 0; k < 3; k++)
        f.corner[k] = point_vec(mesh_point(mesh)[v[k]]);
    struct vec a = vec_sub(f.corner[1], f.corner[0]), b = vec_sub(f.corner[2], f.corner[0]);
    struct vec cross = vec_cross(a, b);
    double twice = vec_length(cross);
    double longest = sqrt(fmax(vec_length2(vec_sub(b, a)), fmax(vec_length2(a), vec_length2(b))));
    f.area = twice / 2;
    f.normal = twice > 0 ? vec_scale(cross, 1 / twice) : vec(0, 0, 0);
    f.sure = twice > rounds->trust * longest;
    return f;
}

/* --- a wall that was grown ------------------------------------------------------------------- */

static bool make_room(struct rounds *r, size_t members)
{
    if (r->count == r->room) {
        size_t room = 2 * r->room + 64;
        struct round *item = realloc(r->item, room * sizeof *item);
        if (!item)
            return false;
        r->item = item;
        r->room = room;
    }
    if (r->members + members > r->members_room) {
        size_t room = 2 * r->members_room + members;
        uint32_t *member = realloc(r->member, room * sizeof *member);
        if (!member)
            return false;
        r->member = member;
        r->members_room = room;
    }
    return true;
}

static int by_number(const void *a, const void *b)
{
    uint32_t x = *(const uint32_t *)a, y = *(const uint32_t *)b;
    return (x > y) - (x < y);
}

/* It is a wall, and belongs to no other, when it goes round far enough; else it is only not tried
 * again. */
static bool keep(struct grower *g, struct round *round)
{
    struct rounds *r = g->rounds;
    size_t count = g->reach.count;
    if (!make_room(r, count)) {
        g->status = STATUS_MEMORY;
        return false;
    }
    uint32_t *member = r->member + r->members;
    memcpy(member, g->reach.item, count * sizeof *member);
    g->status = sort_items(member, count, sizeof *member, by_number, g->job);
    if (g->status != STATUS_OK)
        return false;
    round->first = (uint32_t)r->members;
    round->count = (uint32_t)count;
    grower_mark(g, member, count, ROUND_INSIDE);
    round_look(r, round, g->job);
    bool far = round->arc >= least_arc;
    grower_mark(g, member, count, far ? ROUND_CLAIMED : ROUND_TRIED);
    for (size_t i = 0; i < count; i++)
        r->state[member[i]] &= (uint8_t)~ROUND_INSIDE;
    if (!far)
        return false;
    r->members += count;
    r->item[r->count++] = *round;
    return true;
}

/* --- from a seed ---------------------------------------------------------------------------- */

typedef bool accept_wall(struct grower *g, struct round *round);

static bool try_axis(struct grower *g, uint32_t seed, struct vec axis, double off,
                     accept_wall *accept)
{
    struct round round = {0};
    return seed_start(g, seed, axis, off, &round.on) && round_grow(g, seed, &round) &&
           accept(g, &round);
}

/* By the axis of an edge at which the seed meets the next facet. */
static bool try_edges(struct grower *g, uint32_t seed, accept_wall *accept)
{
    const struct rounds *rounds = g->rounds;
    struct vec own = facing_normal(&g->folds->face[seed]);
    for (uint32_t k = 0; k < 3 && g->status == STATUS_OK; k++) {
        uint32_t across = half_across(rounds->topology, 3 * seed + k);
        if (fold_at(g->folds, 3 * seed + k, across) != FOLD_BENDS)
            continue;
        struct vec other = facing_normal(&g->folds->face[across / 3]);
        double turn = atan2(vec_length(vec_cross(own, other)), vec_dot(own, other)) / degree;
        struct face f = round_face(rounds, seed);
        struct vec edge = vec_unit(vec_sub(f.corner[(k + 1) % 3], f.corner[k]));
        if (turn > edge_turn && turn < most_turn && try_axis(g, seed, edge, 0, accept))
            return true;
    }
    return false;
}

/* Whether the surface bends towards the outside at a side of the face, as walls of holes do. */
static bool is_seed(const struct folds *folds, uint32_t triangle)
{
    for (uint32_t h = 3 * triangle; h < 3 * triangle + 3; h++)
        if (fold_at(folds, h, half_across(folds->topology, h)) == FOLD_BENDS)
            return true;
    return false;
}

/* By the axis that all near it leave; where other surfaces are as near (a countersink), by that of
 * an edge. Those that see about the same are marked: taken, or tried. */
static void try_seed(struct grower *g, uint32_t seed, accept_wall *accept)
{
    struct around near;
    if (!is_seed(g->folds, seed) || !seed_around(g, seed, &near))
        return;
    bool found = near.turns && try_axis(g, seed, near.axis, near.off, accept);
    if (!found && near.sharp && g->status == STATUS_OK)
        found = try_edges(g, seed, accept);
    grower_mark(g, near.like, near.likes, found ? ROUND_TAKEN : ROUND_TRIED);
}

/* --- all of them ---------------------------------------------------------------------------- */

/* What rounding may have moved, and some; a file may have been rounded beside the world's zero. */
static double trust_of(const struct mesh *mesh, struct job *job)
{
    const struct bounds *b = mesh_bounds(mesh, job);
    double local = 0, world = 0;
    for (int k = 0; b && k < 3; k++) {
        double low = (&b->min.x)[k], high = (&b->max.x)[k];
        local = fmax(local, fmax(fabs(low - mesh->origin[k]), fabs(high - mesh->origin[k])));
        world = fmax(world, fmax(fabs(low), fabs(high)));
    }
    return fmax(fmax(64 * local * FLT_EPSILON, fmin(64 * world * FLT_EPSILON, 0.02)), 1e-4);
}

/* Left to the walk; the others that it covers need not be scouted. */
static bool leave_it(struct grower *g, struct round *round)
{
    (void)round;
    grower_mark(g, g->reach.item, g->reach.count, ROUND_TAKEN);
    return true;
}

/* Looks at the seeds of a district: those from which no wall comes are tried afterwards. What is
 * found in others is not asked, so that threads change nothing. */
static void scout_district(struct grower *g, const struct districts *d, size_t which,
                           struct job *job)
{
    const uint32_t *seed = d->triangle + d->start[which];
    size_t count = d->start[which + 1] - d->start[which];
    g->own = (uint16_t)which;
    for (size_t i = 0; i < count && g->status == STATUS_OK; i++) {
        if (i % LOOK == 0 && !job_step(job, count - i < LOOK ? count - i : LOOK))
            g->status = STATUS_CANCELLED;
        else if (!(g->rounds->state[seed[i]] & (ROUND_TRIED | ROUND_TAKEN)))
            try_seed(g, seed[i], leave_it);
    }
}

static enum status scout(const struct grower *like, const struct districts *d, struct job *job)
{
    enum status status = STATUS_OK;
    job_phase(job, "following round walls", 500, mesh_triangles(like->rounds->mesh));
#pragma omp parallel num_threads(job_threads(job))
    {
        struct grower g = *like;
        g.district = d->of;
#pragma omp for schedule(dynamic)
        for (size_t i = 0; i < d->count; i++)
            scout_district(&g, d, i, job);
        grower_release(&g);
#pragma omp critical(round_scout)
        status = g.status == STATUS_OK ? status : g.status;
    }
    return status;
}

static enum status walk(struct grower *g, struct job *job)
{
    size_t count = mesh_triangles(g->rounds->mesh);
    job_phase(job, "following round walls", 100, count);
    for (uint32_t t = 0; t < count && g->status == STATUS_OK; t++) {
        if (t % LOOK == 0 && !job_step(job, LOOK))
            g->status = STATUS_CANCELLED;
        else if (!(g->rounds->state[t] & (ROUND_CLAIMED | ROUND_TRIED)))
            try_seed(g, t, keep);
    }
    grower_release(g);
    return g->status;
}

static enum status scout_all(const struct grower *like, struct job *job)
{
    struct districts districts;
    enum status status = districts_init(&districts, like->folds, job);
    if (status == STATUS_OK)
        status = scout(like, &districts, job);
    districts_release(&districts);
    return status;
}

static enum status find(struct rounds *rounds, const struct folds *folds, struct job *job)
{
    struct grower g = {.rounds = rounds, .folds = folds, .job = job};
    enum status status = scout_all(&g, job);
    if (status == STATUS_OK)
        status = walk(&g, job);
    if (status == STATUS_CANCELLED)
        return job_fail_cancelled(job);
    return status == STATUS_MEMORY ? job_fail_memory(job, mesh_triangles(rounds->mesh)) : status;
}

enum status rounds_find(const struct mesh *mesh, struct rounds *out, struct job *job)
{
    *out = (struct rounds){.mesh = mesh};
    if (mesh_triangles(mesh) == 0)
        return STATUS_OK;
    out->topology = mesh_topology(mesh, job);
    if (!out->topology)
        return job_status(job);
    out->trust = trust_of(mesh, job);
    out->state = scratch_zeros(mesh_triangles(mesh), 1);
    if (!out->state)
        return job_fail_memory(job, mesh_triangles(mesh));
    struct folds folds;
    enum status status = folds_init(&folds, out, job);
    if (status == STATUS_OK)
        status = find(out, &folds, job);
    folds_release(&folds);
    return status;
}

void rounds_release(struct rounds *rounds)
{
    free(rounds->item);
    free(rounds->member);
    scratch_free(rounds->state);
    *rounds = (struct rounds){0};
}
