#include "surface/decimate_keep.h"

#include <stdlib.h>
#include <string.h>

#include "core/crossings.h"
#include "core/job.h"
#include "core/tree.h"
#include "core/within.h"
#include "surface/decimate_apart.h"
#include "surface/decimate_spot.h"

enum {
    GENTLE = 8,  /* rounds that undo at the new face below; later ones at the old triangle */
    PAIRS = 4096 /* crossings looked at in one round */
};

/* --- undoing and proving in turn ------------------------------------------------------------- */

struct keeping {
    const struct mesh *old;
    const struct tree *old_tree;
    const struct promise *promise;
    struct kept *kept;
    double within;
    struct job *job;
    struct breach *of_old, *of_made; /* where the surfaces are too far apart */
    size_t old_count, made_count;
    struct crossing *pair; /* of faces of the new surface */
    size_t pairs;
    bool may_cross;           /* the old surface does */
    bool hopeless;            /* nothing is left to undo */
    uint32_t *number;         /* one an old vertex: the new one it is, or NO_INDEX */
    struct unfolding surface; /* in the numbers of the old mesh; no room before it is needed */
    uint8_t *ask_old;         /* one an old triangle: whether to prove it again */
    uint8_t *changed;         /* one an old triangle: the new one of that number has changed */
};

static void breaches_release(struct keeping *k)
{
    scratch_free(k->of_old);
    scratch_free(k->of_made);
    k->of_old = k->of_made = NULL;
    k->old_count = k->made_count = 0;
}

static enum status find_breaches(struct keeping *k, const uint8_t *ask_old, const uint8_t *ask_made)
{
    breaches_release(k);
    if (!(k->within > 0))
        return STATUS_OK;
    enum status status = within_breaches(k->old, k->kept->made, k->within, ask_old, &k->of_old,
                                         &k->old_count, k->job);
    if (status == STATUS_OK)
        status = within_breaches(k->kept->made, k->old, k->within, ask_made, &k->of_made,
                                 &k->made_count, k->job);
    return status;
}

static bool ask(uint32_t triangle, void *ask_old)
{
    ((uint8_t *)ask_old)[triangle] = 1;
    return true;
}

/* An old triangle so near may have been held by a face that changes. */
static void ask_near(const struct tree *old, double within, const struct point *point,
                     struct triangle face, uint8_t *ask_old)
{
    const double reach = 1.001 * within;
    struct vec low = vec(INFINITY, INFINITY, INFINITY), high = vec_scale(low, -1);
    for (int i = 0; i < 3; i++) {
        struct vec p = point_vec(point[face.v[i]]);
        low = vec(fmin(low.x, p.x - reach), fmin(low.y, p.y - reach), fmin(low.z, p.z - reach));
        high = vec(fmax(high.x, p.x + reach), fmax(high.y, p.y + reach), fmax(high.z, p.z + reach));
    }
    tree_box(old, low, high, ask, ask_old);
}

static void touch(uint32_t triangle, void *context)
{
    struct keeping *k = context;
    const struct triangle face = k->surface.triangle[triangle];
    if (k->within > 0)
        ask_near(k->old_tree, k->within, k->surface.point, face, k->ask_old);
    for (int i = 0; i < 3 && k->promise->mark; i++)
        k->promise->mark[face.v[i]] |= KEEP_TOUCHED;
    k->changed[triangle] = 1;
}

static enum status unfold(struct keeping *k)
{
    size_t vertices = mesh_vertices(k->old), triangles = mesh_triangles(k->old);
    const struct mesh *made = k->kept->made;
    k->old_tree = mesh_tree(k->old, k->job);
    if (!k->old_tree)
        return job_status(k->job);
    k->surface = (struct unfolding){.trail = k->promise->trail,
                                    .triangle = scratch_new(triangles, sizeof(struct triangle)),
                                    .point = scratch_new(vertices, sizeof(struct point)),
                                    .parent = k->promise->parent,
                                    .touch = touch,
                                    .context = k};
    k->ask_old = scratch_new(triangles, 1);
    k->changed = scratch_new(triangles, 1);
    k->number = scratch_new(vertices, sizeof *k->number);
    if (!k->surface.triangle || !k->surface.point || !k->ask_old || !k->changed || !k->number)
        return job_fail_memory(k->job, 14 * triangles + 16 * vertices);
    memset(k->surface.triangle, 255, triangles * sizeof(struct triangle));
    memcpy(k->surface.point, mesh_point(k->old), vertices * sizeof(struct point));
    memset(k->number, 255, vertices * sizeof *k->number);
    for (size_t v = 0; v < mesh_vertices(made); v++) {
        k->surface.point[k->kept->vertex_of[v]] = mesh_point(made)[v];
        k->number[k->kept->vertex_of[v]] = (uint32_t)v;
    }
    for (size_t t = 0; t < mesh_triangles(made); t++)
        for (int i = 0; i < 3; i++)
            k->surface.triangle[k->kept->triangle_of[t]].v[i] =
                k->kept->vertex_of[mesh_triangle(made)[t].v[i]];
    return STATUS_OK;
}

/* The new vertex that an old one was merged into. */
static uint32_t home_of(const struct keeping *k, uint32_t vertex)
{
    while (k->promise->parent[vertex] != NO_INDEX)
        vertex = k->promise->parent[vertex];
    return k->number[vertex];
}

/* The new face near the place of the breach, along the surface: across a thin wall another may be
 * nearer. */
static uint32_t face_near(const struct keeping *k, const struct breach *b)
{
    const struct ground made = {k->kept->made, mesh_topology(k->kept->made, NULL)};
    const uint32_t *v = mesh_triangle(k->old)[b->triangle].v;
    const uint32_t home[3] = {home_of(k, v[0]), home_of(k, v[1]), home_of(k, v[2])};
    if (!made.topology)
        return b->triangle;
    struct spot spot = spot_find(&made, b->at, home, 3);
    return spot.triangle == NO_INDEX ? b->triangle : k->kept->triangle_of[spot.triangle];
}

/* Undoes a collapse of the triangle, and marks what it then is. */
static enum status undo_at(struct keeping *k, uint32_t triangle)
{
    enum status status = trail_undo(&k->surface, triangle, k->job);
    const uint32_t *v = k->surface.triangle[triangle].v;
    for (int i = 0; i < 3 && k->promise->mark && v[0] != NO_INDEX; i++)
        k->promise->mark[v[i]] |= KEEP_WRONG;
    return status;
}

/* Undoes a collapse at each breach: at first of the new face there, then, if that does not help, of
 * the old triangle itself, which brings it back in the end. */
static enum status undo_breaches(struct keeping *k, unsigned round)
{
    enum status status = STATUS_OK;
    for (size_t i = 0; i < k->old_count; i++) { /* all faces before the first is undone */
        struct breach *b = &k->of_old[i];
        k->ask_old[b->triangle] = 1;
        if (round < GENTLE)
            b->triangle = face_near(k, b);
    }
    for (size_t i = 0; i < k->old_count && status == STATUS_OK; i++)
        status = undo_at(k, k->of_old[i].triangle);
    for (size_t i = 0; i < k->made_count && status == STATUS_OK; i++) {
        uint32_t triangle = k->kept->triangle_of[k->of_made[i].triangle];
        k->changed[triangle] = 1;
        status = undo_at(k, triangle);
    }
    return status;
}

/* And at each crossing, of both faces. */
static enum status undo_crossings(struct keeping *k)
{
    enum status status = STATUS_OK;
    for (size_t i = 0; i < 2 * k->pairs && status == STATUS_OK; i++) {
        const struct crossing *pair = &k->pair[i / 2];
        status = undo_at(k, k->kept->triangle_of[i % 2 ? pair->b : pair->a]);
    }
    return status;
}

/* --- the surface anew ------------------------------------------------------------------------- */

/* Numbers the vertices that are used, in the order of the old mesh. */
static size_t count_used(struct keeping *k, size_t *triangles)
{
    size_t vertices = 0;
    *triangles = 0;
    memset(k->number, 255, mesh_vertices(k->old) * sizeof *k->number);
    for (size_t t = 0; t < mesh_triangles(k->old); t++) {
        const uint32_t *v = k->surface.triangle[t].v;
        if (v[0] == NO_INDEX)
            continue;
        ++*triangles;
        for (int i = 0; i < 3; i++)
            k->number[v[i]] = 0;
    }
    for (size_t v = 0; v < mesh_vertices(k->old); v++)
        if (k->number[v] != NO_INDEX)
            k->number[v] = (uint32_t)vertices++;
    return vertices;
}

static void write_again(const struct keeping *k, struct kept *next)
{
    struct point *point = mesh_point_edit(next->made);
    struct triangle *triangle = mesh_triangle_edit(next->made);
    size_t at = 0;
    for (size_t v = 0; v < mesh_vertices(k->old); v++)
        if (k->number[v] != NO_INDEX) {
            point[k->number[v]] = k->surface.point[v];
            next->vertex_of[k->number[v]] = (uint32_t)v;
        }
    for (size_t t = 0; t < mesh_triangles(k->old); t++) {
        const uint32_t *v = k->surface.triangle[t].v;
        if (v[0] == NO_INDEX)
            continue;
        triangle[at] = (struct triangle){{k->number[v[0]], k->number[v[1]], k->number[v[2]]}};
        next->triangle_of[at++] = (uint32_t)t;
    }
    memcpy(next->made->origin, k->old->origin, sizeof next->made->origin);
}

void kept_release(struct kept *kept)
{
    mesh_free(kept->made);
    scratch_free(kept->vertex_of);
    scratch_free(kept->triangle_of);
    *kept = (struct kept){0};
}

static enum status build_again(struct keeping *k, bool *moved)
{
    size_t triangles, vertices = count_used(k, &triangles);
    struct kept next = {.made = mesh_new(vertices, triangles),
                        .vertex_of = scratch_new(vertices, sizeof *next.vertex_of),
                        .triangle_of = scratch_new(triangles, sizeof *next.triangle_of)};
    enum status status = STATUS_OK;
    if (!next.made || !next.vertex_of || !next.triangle_of)
        status = job_fail_memory(k->job, 16 * (vertices + triangles));
    if (status == STATUS_OK) {
        write_again(k, &next);
        status = move_apart(next.made, moved, k->job);
    }
    if (status != STATUS_OK) {
        kept_release(&next);
        return status;
    }
    for (size_t v = 0; v < vertices && *moved; v++)
        k->surface.point[next.vertex_of[v]] = mesh_point(next.made)[v];
    kept_release(k->kept);
    *k->kept = next;
    return STATUS_OK;
}

/* Whether a new face has changed since all was proved. */
static bool is_fresh(const struct keeping *k, size_t face)
{
    if (k->changed)
        return k->changed[k->kept->triangle_of[face]];
    const uint32_t *v = mesh_triangle(k->kept->made)[face].v;
    for (int i = 0; i < 3; i++)
        if (k->promise->fresh[k->kept->vertex_of[v[i]]])
            return true;
    return false;
}

static enum status prove_fresh(struct keeping *k)
{
    size_t count = mesh_triangles(k->kept->made);
    uint8_t *ask_made = scratch_new(count, 1);
    if (!ask_made)
        return job_fail_memory(k->job, count);
    for (size_t t = 0; t < count; t++)
        ask_made[t] = is_fresh(k, t);
    enum status status = find_breaches(k, k->changed ? k->ask_old : k->promise->ask_old, ask_made);
    scratch_free(ask_made);
    return status;
}

/* What is still wrong: places too far apart, and if there are none, crossings; but an old surface
 * that crosses itself may go on doing so. */
static enum status find_wrong(struct keeping *k, bool all)
{
    size_t kept;
    uint64_t count = 0;
    struct crossing *none;
    free(k->pair);
    k->pair = NULL;
    k->pairs = 0;
    enum status status = all ? find_breaches(k, NULL, NULL) : prove_fresh(k);
    if (status != STATUS_OK || k->old_count + k->made_count || k->may_cross)
        return status;
    status = crossings_find(k->kept->made, PAIRS, &k->pair, &k->pairs, &count, k->job);
    if (status != STATUS_OK || !count)
        return status;
    status = crossings_find(k->old, 0, &none, &kept, &count, k->job);
    k->may_cross = count > 0;
    k->pairs = count ? 0 : k->pairs;
    return status;
}

static enum status undo_round(struct keeping *k, unsigned round, bool *moved)
{
    enum status status = k->number ? STATUS_OK : unfold(k);
    size_t undone = k->promise->trail->undone;
    if (status != STATUS_OK)
        return status;
    memset(k->ask_old, 0, mesh_triangles(k->old));
    memset(k->changed, 0, mesh_triangles(k->old));
    status = undo_breaches(k, round);
    if (status == STATUS_OK)
        status = undo_crossings(k);
    if (status == STATUS_OK)
        status = build_again(k, moved);
    k->hopeless = k->promise->trail->undone == undone && round >= GENTLE;
    return status;
}

static enum status keep_with(struct keeping *k)
{
    enum status status = find_wrong(k, !k->promise->fresh);
    for (unsigned round = 0; status == STATUS_OK && !k->hopeless; round++) {
        bool moved = false; /* then anything may have changed */
        if (!(k->old_count + k->made_count + k->pairs))
            return STATUS_OK;
        status = undo_round(k, round, &moved);
        if (status == STATUS_OK)
            status = find_wrong(k, moved);
    }
    return status;
}

enum status keep_scope(const struct promise *promise, const struct kept *kept, const uint8_t *fresh,
                       uint8_t *ask_old, struct job *job)
{
    const struct tree *tree = mesh_tree(promise->old, job);
    memset(ask_old, 0, mesh_triangles(promise->old));
    for (size_t t = 0; t < mesh_triangles(kept->made) && tree; t++) {
        const struct triangle face = mesh_triangle(kept->made)[t];
        bool is = false;
        for (int i = 0; i < 3; i++)
            is |= fresh[kept->vertex_of[face.v[i]]];
        if (is)
            ask_near(tree, promise->within, mesh_point(kept->made), face, ask_old);
    }
    return tree ? STATUS_OK : job_status(job);
}

enum status keep(const struct promise *promise, struct kept *kept, struct job *job)
{
    struct keeping k = {.old = promise->old,
                        .promise = promise,
                        .kept = kept,
                        .within = promise->within,
                        .job = job};
    enum status status = keep_with(&k);
    if (k.hopeless)
        kept_release(kept);
    breaches_release(&k);
    free(k.pair);
    scratch_free(k.surface.triangle);
    scratch_free(k.surface.point);
    free(k.surface.stack);
    scratch_free(k.ask_old);
    scratch_free(k.changed);
    scratch_free(k.number);
    return status;
}
