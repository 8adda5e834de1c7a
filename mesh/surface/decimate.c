#include "surface/decimate.h"

#include <string.h>

#include "core/crossings.h"
#include "core/derive.h"
#include "core/job.h"
#include "core/lineage.h"
#include "core/weld.h"
#include "surface/decimate_apart.h"
#include "surface/decimate_fit.h"
#include "surface/decimate_keep.h"
#include "surface/decimate_rounds.h"
#include "surface/decimate_spot.h"
#include "surface/decimate_unfit.h"

enum {
    PASSES = 4, /* within a tolerance or by leave, after the first */
    RUN = 8192  /* vertices a thread takes at a time */
};

struct decimation {
    const struct mesh *mesh; /* joined */
    const struct decimate_options *options;
    struct surface surface;
    uint32_t *home; /* one an old vertex: the new one it became part of */
    unsigned left;  /* permille of the job, for collapsing and what promises need */
    struct job *job;
};

static enum status begin(struct decimation *d, const struct flats *flats)
{
    bool colour = d->options->contrast > 0 && mesh_attribute(d->mesh, ATTRIBUTE_colour);
    job_phase(d->job, "taking the surface's measure", 50, 0);
    enum status status = surface_init(&d->surface, d->mesh, d->job);
    d->surface.flats = flats;
    d->surface.judge = d->options->may ? d->options : NULL;
    if (status == STATUS_OK && colour)
        status = surface_count_colour(&d->surface, d->options->contrast, d->job);
    return status;
}

/* Nobody knows how often it will be done: each time takes part of what is left of the bar. */
static enum status collapse(struct decimation *d)
{
    unsigned share = d->left / 5 * 3;
    d->left -= share;
    const struct rounds rounds = {.surface = &d->surface,
                                  .to = d->options->to,
                                  .keep_rim = d->options->keep_rim,
                                  .share = share,
                                  .job = d->job};
    return rounds_run(&rounds);
}

/* --- the result ------------------------------------------------------------------------------ */

/* Which new vertex each old one became part of. */
static enum status find_homes(struct decimation *d)
{
    const struct surface *s = &d->surface;
    size_t n = mesh_vertices(d->mesh);
    uint32_t *number = scratch_new(n, sizeof *number);
    d->home = scratch_new(n, sizeof *d->home);
    if (!number || !d->home) {
        scratch_free(number);
        return job_fail_memory(d->job, 8 * n);
    }
    memset(number, 255, n * sizeof *number);
    for (size_t v = 0; v < s->vertices; v++)
        number[surface_vertex_of(s, (uint32_t)v)] = (uint32_t)v;
#pragma omp parallel for num_threads(job_threads(d->job)) schedule(dynamic, RUN)
    for (size_t v = 0; v < n; v++) {
        uint32_t root = (uint32_t)v;
        while (s->parent[root] != NO_INDEX)
            root = s->parent[root];
        d->home[v] = number[root];
    }
    scratch_free(number);
    return STATUS_OK;
}

static bool has_vertex_attributes(const struct mesh *mesh)
{
    for (int i = 0; i < ATTRIBUTE_COUNT; i++)
        if (mesh->attribute[i] && attribute_row((enum attribute)i)->domain == DOMAIN_VERTEX)
            return true;
    return false;
}

/* Where on the old surface new vertex v lies, near the old vertex it was. */
static struct mix vertex_mix(const struct ground *old, struct vec p, uint32_t was)
{
    struct mix mix = {{was, was, was}, {1, 0, 0}};
    struct spot spot = spot_find(old, p, &was, 1);
    if (spot.triangle == NO_INDEX)
        return mix;
    for (int k = 0; k < 3; k++) {
        mix.from[k] = mesh_triangle(old->mesh)[spot.triangle].v[k];
        mix.weight[k] = (float)spot.weight[k];
    }
    return mix;
}

static enum status carry_with(struct decimation *d, struct mesh *made, struct mix *mix)
{
    const struct surface *s = &d->surface;
    struct lineage lineage = {.plain_vertices = s->vertices,
                              .vertex = s->vertex_of,
                              .plain_triangles = s->triangles,
                              .triangle = s->triangle_of};
    if (mix) {
        struct ground old = {d->mesh, mesh_topology(d->mesh, d->job)};
        if (!old.topology)
            return job_status(d->job);
#pragma omp parallel for num_threads(job_threads(d->job)) schedule(dynamic, RUN)
        for (size_t v = 0; v < s->vertices; v++)
            if (!job_cancelled(d->job))
                mix[v] = vertex_mix(&old, point_vec(mesh_point(made)[v]),
                                    surface_vertex_of(s, (uint32_t)v));
        if (job_cancelled(d->job))
            return job_fail_cancelled(d->job);
        lineage.plain_vertices = 0;
        lineage.mix = mix;
    }
    return lineage_carry(&lineage, d->mesh, made, d->job);
}

static enum status carry(struct decimation *d, struct mesh *made)
{
    if (!has_vertex_attributes(d->mesh))
        return carry_with(d, made, NULL);
    struct mix *mix = scratch_new(d->surface.vertices, sizeof *mix);
    if (!mix)
        return job_fail_memory(d->job, d->surface.vertices * sizeof *mix);
    enum status status = carry_with(d, made, mix);
    scratch_free(mix);
    return status;
}

/* The surface as a mesh without attributes. */
static struct mesh *bare(struct decimation *d, bool *moved)
{
    const struct surface *s = &d->surface;
    struct mesh *made = mesh_new(s->vertices, s->triangles);
    if (!made) {
        job_fail_memory(d->job, 12 * (s->vertices + s->triangles));
        return NULL;
    }
    memcpy(made->origin, d->mesh->origin, sizeof made->origin);
    memcpy(mesh_point_edit(made), surface_point(s), s->vertices * sizeof(struct point));
    memcpy(mesh_triangle_edit(made), surface_triangle(s), s->triangles * sizeof(struct triangle));
    if (move_apart(made, moved, d->job) == STATUS_OK)
        return made;
    mesh_free(made);
    return NULL;
}

static void decimation_release(struct decimation *d)
{
    surface_release(&d->surface);
    scratch_free(d->home);
}

static enum status fit_with(struct decimation *d, struct mesh *made)
{
    const struct surface *s = &d->surface;
    uint8_t *flat = s->flats->of ? scratch_new(s->triangles, 1) : NULL;
    if (s->flats->of && !flat)
        return job_fail_memory(d->job, s->triangles);
    for (size_t t = 0; t < s->triangles && flat; t++)
        flat[t] = s->flats->of[surface_triangle_of(s, (uint32_t)t)] > 0;
    enum status status =
        fit_surface(d->mesh, made, d->home, s->flats, flat, d->options->keep_rim, d->job);
    scratch_free(flat);
    return status;
}

/* The fit, as far as nothing crosses by it. */
static enum status fit(struct decimation *d, struct mesh *made)
{
    size_t n = mesh_vertices(made);
    struct point *before = scratch_new(n, sizeof *before);
    if (!before)
        return job_fail_memory(d->job, n * sizeof *before);
    memcpy(before, mesh_point(made), n * sizeof *before);
    job_phase(d->job, "fitting", 150, 0);
    enum status status = find_homes(d);
    if (status == STATUS_OK)
        status = fit_with(d, made);
    job_phase(d->job, "looking for crossings", 100, mesh_triangles(made));
    if (status == STATUS_OK)
        status = unfit_crossings(made, before, d->job);
    scratch_free(before);
    return status;
}

/* --- promises kept afterwards ---------------------------------------------------------------- */

/* Between two passes: which vertices may still move, and what that may change. */
struct passes {
    struct trail trail;
    uint8_t *mark;    /* one an old vertex: enum keep_mark */
    uint8_t *stays;   /* one an old vertex: it is not to move in the next pass */
    uint8_t *fresh;   /* one an old vertex: it may */
    uint8_t *ask_old; /* one an old triangle */
    bool again;       /* this is not the first */
};

static enum status passes_init(struct passes *p, struct decimation *d)
{
    size_t vertices = mesh_vertices(d->mesh), triangles = mesh_triangles(d->mesh);
    *p = (struct passes){.mark = scratch_new(vertices, 1),
                         .stays = scratch_new(vertices, 1),
                         .fresh = scratch_new(vertices, 1),
                         .ask_old = scratch_new(triangles, 1)};
    if (!p->mark || !p->stays || !p->fresh || !p->ask_old)
        return job_fail_memory(d->job, 3 * vertices + triangles);
    memset(p->mark, 0, vertices);
    d->surface.trail = &p->trail;
    return trail_init(&p->trail, triangles, d->job);
}

static void passes_release(struct passes *p)
{
    trail_release(&p->trail);
    scratch_free(p->mark);
    scratch_free(p->stays);
    scratch_free(p->fresh);
    scratch_free(p->ask_old);
}

static struct promise promise_of(const struct decimation *d, const struct passes *p)
{
    const bool within = d->options->within > 0 && p->again;
    return (struct promise){.old = d->mesh,
                            .within = d->options->within,
                            .trail = d->surface.trail,
                            .parent = d->surface.parent,
                            .mark = p->mark,
                            .fresh = within ? p->fresh : NULL,
                            .ask_old = p->ask_old};
}

/* What keep() makes of the surface becomes the surface; *made is its mesh. */
static enum status keep_promise(struct decimation *d, const struct passes *p, struct mesh **made)
{
    struct surface *s = &d->surface;
    struct promise promise = promise_of(d, p);
    bool moved; /* then more has changed than the collapses did */
    struct kept kept = {bare(d, &moved), s->vertex_of, s->triangle_of};
    if (!kept.made)
        return job_status(d->job);
    if (moved)
        promise.fresh = NULL;
    struct job_part whole = job_stage(d->job, d->left / 2);
    d->left -= d->left / 2;
    enum status status = keep(&promise, &kept, d->job);
    job_part_end(d->job, whole);
    s->vertex_of = kept.vertex_of;
    s->triangle_of = kept.triangle_of;
    *made = kept.made;
    if (status != STATUS_OK)
        return status;
    if (!kept.made)
        *made = mesh_share(d->mesh);
    s->vertices = mesh_vertices(*made);
    s->triangles = mesh_triangles(*made);
    return STATUS_OK;
}

/* What may move in the next pass. Towards a count: all but where the promise was broken. Within a
 * tolerance or by leave nothing could go any more before: only what was undone around there. */
static void choose_moving(struct decimation *d, struct passes *p)
{
    for (size_t v = 0; v < mesh_vertices(d->mesh); v++) {
        bool touched = p->mark[v] & KEEP_TOUCHED, wrong = p->mark[v] & KEEP_WRONG;
        p->stays[v] = wrong || ((d->options->within > 0 || d->options->may) && !touched);
        p->fresh[v] = !p->stays[v];
        p->mark[v] &= KEEP_WRONG;
    }
    d->surface.locked = p->stays;
}

static enum status prepare_pass(struct decimation *d, struct passes *p, struct tolerance *tolerance,
                                const struct mesh *made)
{
    struct surface *s = &d->surface;
    choose_moving(d, p);
    enum status status = surface_take(s, made, d->job);
    if (status != STATUS_OK || !tolerance)
        return status;
    scratch_free(s->head);
    s->head = scratch_new(s->triangles, sizeof *s->head);
    if (!s->head)
        return job_fail_memory(d->job, s->triangles * sizeof *s->head);
    const struct promise promise = promise_of(d, p);
    const struct kept kept = {(struct mesh *)made, s->vertex_of, s->triangle_of};
    status = keep_scope(&promise, &kept, p->fresh, p->ask_old, d->job);
    return status == STATUS_OK
               ? tolerance_resample(tolerance, made, s->vertex_of, s->parent, s->head, d->job)
               : status;
}

/* Collapses, undoes what broke the promise, and goes on elsewhere. */
static enum status run_passes(struct decimation *d, struct passes *p, struct tolerance *tolerance,
                              struct mesh **made)
{
    for (int pass = 0;; pass++) {
        size_t undone = p->trail.undone;
        enum status status = collapse(d);
        if (status == STATUS_OK && !d->surface.triangle) {
            *made = mesh_share(d->mesh); /* nothing was done */
            return STATUS_OK;
        }
        if (status == STATUS_OK)
            status = keep_promise(d, p, made);
        bool last = p->trail.undone == undone || ((tolerance || d->options->may) && pass == PASSES);
        if (status != STATUS_OK || *made == d->mesh || last)
            return status;
        status = prepare_pass(d, p, tolerance, *made);
        if (status != STATUS_OK)
            return status;
        p->again = true;
        mesh_free(*made);
        *made = NULL;
    }
}

/* --- to a count ------------------------------------------------------------------------------ */

static enum status new_crossings(struct decimation *d, const struct mesh *made, bool *found)
{
    struct crossing *pair;
    size_t kept;
    uint64_t count;
    job_phase(d->job, "looking for crossings", 100, mesh_triangles(made));
    enum status status = crossings_find(made, 0, &pair, &kept, &count, d->job);
    *found = count > 0;
    if (status != STATUS_OK || !count)
        return status;
    job_phase(d->job, "looking for crossings", 50, mesh_triangles(d->mesh));
    status = crossings_find(d->mesh, 0, &pair, &kept, &count, d->job);
    *found = status == STATUS_OK && !count;
    return status;
}

/* All again, but so that collapses can be undone: few need it, and it takes more memory. */
static enum status again_without_crossings(struct decimation *d, struct mesh **made)
{
    const struct flats *flats = d->surface.flats;
    struct passes passes = {0};
    surface_release(&d->surface);
    mesh_free(*made);
    *made = NULL;
    enum status status = begin(d, flats);
    if (status == STATUS_OK)
        status = passes_init(&passes, d);
    if (status == STATUS_OK)
        status = run_passes(d, &passes, NULL, made);
    passes_release(&passes);
    return status;
}

static enum status to_count(struct decimation *d, struct mesh **made)
{
    bool moved, crossings = false;
    enum status status = collapse(d);
    if (status != STATUS_OK)
        return status;
    if (!d->surface.triangle) { /* nothing was done */
        *made = mesh_share(d->mesh);
        return STATUS_OK;
    }
    *made = bare(d, &moved);
    status = *made ? new_crossings(d, *made, &crossings) : job_status(d->job);
    if (status == STATUS_OK && crossings)
        status = again_without_crossings(d, made);
    if (status != STATUS_OK || *made == d->mesh)
        return status;
    status = fit(d, *made);
    if (status == STATUS_OK)
        status = move_apart(*made, &moved, d->job);
    return status == STATUS_OK ? carry(d, *made) : status;
}

/* --- within a tolerance ---------------------------------------------------------------------- */

static enum status to_tolerance(struct decimation *d, struct mesh **made)
{
    struct tolerance tolerance;
    struct passes passes = {0};
    enum status status = tolerance_init(&tolerance, d->mesh, d->options->within, d->job);
    d->surface.tolerance = &tolerance;
    if (status == STATUS_OK)
        status = passes_init(&passes, d);
    if (status == STATUS_OK)
        status = run_passes(d, &passes, &tolerance, made);
    if (status == STATUS_OK && *made != d->mesh)
        status = carry(d, *made);
    tolerance_release(&tolerance);
    passes_release(&passes);
    return status;
}

/* --- by leave -------------------------------------------------------------------------------- */

static enum status by_leave(struct decimation *d, struct mesh **made)
{
    struct passes passes = {0};
    enum status status = passes_init(&passes, d);
    if (status == STATUS_OK)
        status = run_passes(d, &passes, NULL, made);
    if (status == STATUS_OK && *made != d->mesh)
        status = carry(d, *made);
    passes_release(&passes);
    return status;
}

/* Connectivity that nobody else asked for is gone again before most memory is needed. */
static enum status find_flats(const struct decimation *d, struct flats *flats)
{
    const struct mesh *mesh = d->mesh;
    bool stays = d->options->within > 0 || mesh_derived(mesh, DERIVED_topology);
    struct mesh *own = stays ? NULL : mesh_new_like(mesh);
    if (!stays && !own)
        return job_fail_memory(d->job, sizeof *own);
    enum status status = flats_find(own ? own : mesh, flats, d->job);
    mesh_free(own);
    return status;
}

static enum status decimate_joined(const struct mesh *mesh, const struct decimate_options *options,
                                   struct mesh **made, struct job *job)
{
    struct decimation d = {.mesh = mesh, .options = options, .job = job};
    struct flats flats = {0};
    d.left = options->within > 0 || options->may ? 900 : 600;
    job_phase(job, "looking for flat places", 50, 0);
    enum status status = find_flats(&d, &flats);
    if (status == STATUS_OK)
        status = begin(&d, &flats);
    if (status == STATUS_OK)
        status = options->within > 0 ? to_tolerance(&d, made)
                 : options->may      ? by_leave(&d, made)
                                     : to_count(&d, made);
    decimation_release(&d);
    flats_release(&flats);
    return status;
}

struct mesh *decimate(const struct mesh *mesh, const struct decimate_options *options,
                      struct job *job)
{
    if (mesh_triangles(mesh) <= options->to && (mesh_triangles(mesh) || !mesh_vertices(mesh)))
        return mesh_share(mesh);
    if (!mesh_triangles(mesh)) {
        job_fail(job, STATUS_REFUSED,
                 "a point cloud has no triangles to decimate; make a surface of it first (fuse)");
        return NULL;
    }
    struct mesh *joined = weld_exact(mesh, job);
    struct mesh *made = NULL;
    if (joined && decimate_joined(joined, options, &made, job) != STATUS_OK) {
        mesh_free(made);
        made = NULL;
    }
    mesh_free(joined);
    return made;
}
