#include "surface/decimate.h"

#include <string.h>

#include "core/job.h"
#include "core/lineage.h"
#include "core/same.h"
#include "core/weld.h"
#include "surface/decimate_fit.h"
#include "surface/decimate_split.h"
#include "surface/decimate_spot.h"
#include "surface/decimate_within.h"

static const double RATIO = 2.2; /* by which a round reduces */
static const double LAST = 1.15; /* and the last but one leaves so much to the last */
static const float TIGHTER =
    0.75f; /* where the tolerance was broken, the next attempt keeps so much */
static const double SHARE = 0.05; /* of the triangles, that a sweep reaches for */
enum {
    RISE = 3,           /* slots (eighths of an octave) by which the threshold rises at least */
    IDLE = 3,           /* rounds with next to no collapses before it is given up */
    NEXT_TO_NONE = 500, /* within a tolerance: one triangle in so many */
    PATIENT =
        4,     /* attempts that tighten a little; later ones forbid collapses where it was broken */
    RUN = 8192 /* vertices a thread takes at a time */
};

struct decimation {
    const struct mesh *mesh; /* joined */
    const struct decimate_options *options;
    struct surface surface;
    uint32_t *home; /* one an old vertex: the new one it became part of */
    unsigned share; /* permille of the job */
    struct job *job;
};

/* --- sweeps ---------------------------------------------------------------------------------- */

static size_t split_left(const struct split *split)
{
    size_t left = 0;
    for (size_t i = 0; i < split->count; i++)
        left += split->patch[i].left;
    return left;
}

static void split_histogram(const struct split *split, uint64_t *slots, struct job *job)
{
    memset(slots, 0, COST_SLOTS * sizeof *slots);
#pragma omp parallel num_threads(job_threads(job))
    {
        uint32_t mine[COST_SLOTS] = {0};
#pragma omp for schedule(dynamic)
        for (size_t i = 0; i < split->count; i++)
            patch_histogram(&split->patch[i], mine);
#pragma omp critical
        for (int i = 0; i < COST_SLOTS; i++)
            slots[i] += mine[i];
    }
}

/* The threshold of the next sweep: the cost that SHARE of the triangles are below, but no less
 * than RISE above the last one. 0 when there is nothing left to collapse. */
static float next_threshold(const struct split *split, float last, struct job *job)
{
    uint64_t slots[COST_SLOTS], total = 0, sum = 0;
    split_histogram(split, slots, job);
    for (int i = 0; i < COST_SLOTS; i++)
        total += slots[i];
    if (!total)
        return 0;
    unsigned slot = 0, least = last > 0 ? cost_slot(last) + RISE : 0;
    while ((double)sum < SHARE * (double)total)
        sum += slots[slot++];
    slot = slot > least ? slot : least;
    return slot < cost_slot(INFINITY) ? slot_cost(slot) : INFINITY;
}

/* Gives each patch its part of `most`, by how many triangles wait in it: turns count[] into that.
 */
static void share_out(size_t *count, size_t patches, size_t most)
{
    size_t waiting = 0, given = 0;
    for (size_t i = 0; i < patches; i++)
        waiting += count[i];
    for (size_t i = 0; i < patches; i++) {
        double part = waiting ? (double)count[i] / (double)waiting : 0;
        count[i] = (size_t)(part * (double)most) & ~(size_t)1;
        given += count[i];
    }
    for (size_t i = 0; i < patches && given < most; i++, given += 2)
        count[i] += 2;
}

static enum status sweep(struct split *split, float below, size_t most, struct job *job)
{
    size_t *count = scratch_new(split->count, sizeof *count);
    if (!count)
        return job_fail_memory(job, split->count * sizeof *count);
#pragma omp parallel for num_threads(job_threads(job)) schedule(dynamic)
    for (size_t i = 0; i < split->count; i++)
        count[i] = patch_count(&split->patch[i], below);
    share_out(count, split->count, most);
#pragma omp parallel for num_threads(job_threads(job)) schedule(dynamic)
    for (size_t i = 0; i < split->count; i++)
        if (!job_cancelled(job))
            job_step(job, patch_sweep(&split->patch[i], below, count[i]));
    scratch_free(count);
    for (size_t i = 0; i < split->count && split->guard; i++)
        if (split->guard[i].short_of_memory)
            return job_fail_memory(job, 2 * split->guard[i].room * sizeof(struct sample));
    return job_cancelled(job) ? job_fail_cancelled(job) : STATUS_OK;
}

/* --- rounds ---------------------------------------------------------------------------------- */

static size_t round_target(size_t triangles, size_t to)
{
    double most = (double)to * LAST, part = (double)triangles / RATIO;
    if ((double)triangles <= most * 1.1)
        return to;
    return (size_t)(part > most * 1.1 ? part : most);
}

static enum status run_sweeps(struct split *split, size_t target, struct job *job)
{
    enum status status = STATUS_OK;
    float below = 0;
    for (size_t left = split_left(split); status == STATUS_OK && left > target;) {
        below = next_threshold(split, below, job);
        if (!(below > 0))
            break;
        status = sweep(split, below, left - target, job);
        left = split_left(split);
    }
    return status;
}

static enum status run_round(struct decimation *d, unsigned round, bool *alone)
{
    struct split split;
    size_t target = round_target(d->surface.triangles, d->options->to);
    enum status status = split_make(&split, &d->surface, round, d->options->keep_rim, d->job);
    if (status != STATUS_OK)
        return status;
    *alone = split.count == 1;
    status = run_sweeps(&split, target, d->job);
    if (status == STATUS_OK)
        status = split_join(&split, &d->surface, d->job);
    split_release(&split);
    return status;
}

static enum status run_rounds(struct decimation *d)
{
    size_t to = d->options->to;
    enum status status = STATUS_OK;
    job_phase(d->job, "collapsing edges", d->share / 5 * 4, d->surface.triangles - to);
    unsigned idle = 0;
    for (unsigned round = 0; status == STATUS_OK && d->surface.triangles > to; round++) {
        size_t before = d->surface.triangles;
        bool alone = false;
        status = run_round(d, round, &alone);
        size_t gone = before - d->surface.triangles;
        idle = gone > (d->surface.tolerance ? before / NEXT_TO_NONE : 0) ? 0 : idle + 1;
        if (idle == (d->surface.tolerance ? 1 : IDLE) || (idle && alone))
            break;
    }
    return status;
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
            mix[v] =
                vertex_mix(&old, point_vec(mesh_point(made)[v]), surface_vertex_of(s, (uint32_t)v));
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

/* Moves apart vertices that have come to the same position, by the least step there is: the mesh
 * stays joined, and a file of it stays closed. */
static enum status separate_with(struct mesh *made, uint32_t *id, struct job *job)
{
    struct point *point = mesh_point_edit(made);
    const size_t n = mesh_vertices(made);
    const struct positions positions = {(const unsigned char *)point, 0, n};
    for (;;) {
        size_t distinct, next = 0;
        bool finite;
        enum status status = same_number(&positions, n, id, &distinct, &finite, job);
        if (status != STATUS_OK || distinct == n)
            return status;
        for (size_t v = 0; v < n; v++)
            if (id[v] == next)
                next++;
            else
                point[v].x = nextafterf(point[v].x, INFINITY);
    }
}

static enum status separate(struct mesh *made, struct job *job)
{
    uint32_t *id = scratch_new(mesh_vertices(made), sizeof *id);
    if (!id)
        return job_fail_memory(job, mesh_vertices(made) * sizeof *id);
    enum status status = separate_with(made, id, job);
    scratch_free(id);
    made->joined = status == STATUS_OK;
    return status;
}

static enum status finish(struct decimation *d, struct mesh *made)
{
    const struct surface *s = &d->surface;
    memcpy(mesh_point_edit(made), surface_point(s), s->vertices * sizeof(struct point));
    memcpy(mesh_triangle_edit(made), surface_triangle(s), s->triangles * sizeof(struct triangle));
    job_phase(d->job, "fitting", d->share / 5, 0);
    enum status status = d->surface.tolerance ? STATUS_OK : find_homes(d);
    if (status == STATUS_OK && !d->surface.tolerance)
        status = fit_surface(d->mesh, made, d->home, d->options->keep_rim, d->job);
    if (status == STATUS_OK)
        status = separate(made, d->job);
    return status == STATUS_OK ? carry(d, made) : status;
}

static struct mesh *publish(struct decimation *d)
{
    struct mesh *made = mesh_new(d->surface.vertices, d->surface.triangles);
    if (!made) {
        job_fail_memory(d->job, 12 * (d->surface.vertices + d->surface.triangles));
        return NULL;
    }
    if (finish(d, made) == STATUS_OK)
        return made;
    mesh_free(made);
    return NULL;
}

static enum status reduce(struct decimation *d, struct mesh **made)
{
    enum status status = run_rounds(d);
    if (status != STATUS_OK)
        return status;
    *made = d->surface.triangle ? publish(d) : mesh_share(d->mesh); /* NULL: nothing was done */
    return *made ? STATUS_OK : job_status(d->job);
}

static void decimation_release(struct decimation *d)
{
    surface_release(&d->surface);
    scratch_free(d->home);
}

static enum status to_count(const struct mesh *mesh, const struct decimate_options *options,
                            struct mesh **made, struct job *job)
{
    struct decimation d = {.mesh = mesh, .options = options, .share = 1000, .job = job};
    enum status status = surface_init(&d.surface, mesh, job);
    if (status == STATUS_OK)
        status = reduce(&d, made);
    decimation_release(&d);
    return status;
}

/* One attempt; *made stays NULL when the proof finds it broken. */
static enum status attempt(const struct mesh *mesh, const struct decimate_options *options,
                           struct tolerance *tolerance, float part, struct mesh **made,
                           struct job *job)
{
    struct decimation d = {.mesh = mesh, .options = options, .share = 200, .job = job};
    size_t broken = 0;
    tolerance_rewind(tolerance);
    enum status status = surface_init(&d.surface, mesh, job);
    d.surface.tolerance = tolerance;
    if (status == STATUS_OK)
        status = reduce(&d, made);
    if (status == STATUS_OK && *made != mesh) {
        job_phase(job, "proving the tolerance", 100, mesh_triangles(mesh) + mesh_triangles(*made));
        status = tolerance_prove(tolerance, &d.surface, *made, options->within, part, &broken, job);
    }
    if (status != STATUS_OK || broken) {
        mesh_free(*made);
        *made = NULL;
    }
    decimation_release(&d);
    return status;
}

static enum status to_tolerance(const struct mesh *mesh, const struct decimate_options *options,
                                struct mesh **made, struct job *job)
{
    struct tolerance tolerance;
    enum status status = tolerance_init(&tolerance, mesh, options->within, job);
    for (int i = 0; status == STATUS_OK && !*made; i++)
        status = attempt(mesh, options, &tolerance, i < PATIENT ? TIGHTER : 0, made, job);
    tolerance_release(&tolerance);
    return status;
}

static enum status decimate_joined(const struct mesh *mesh, const struct decimate_options *options,
                                   struct mesh **made, struct job *job)
{
    return options->within > 0 ? to_tolerance(mesh, options, made, job)
                               : to_count(mesh, options, made, job);
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
