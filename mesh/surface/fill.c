#include "surface/fill.h"

#include <stdlib.h>
#include <string.h>

#include "core/job.h"
#include "core/lineage.h"
#include "core/weld.h"
#include "surface/fill_apart.h"
#include "surface/fill_around.h"
#include "surface/fill_plane.h"
#include "surface/fill_smoothly.h"
#include "surface/fill_spread.h"
#include "surface/fill_walk.h"
#include "surface/fill_weigh.h"

enum { STEPS = 3 }; /* that are counted per edge of a rim */

struct filling {
    const struct mesh *mesh; /* joined */
    const struct topology *topology;
    enum fill_shape shape;
    struct rims rims;
    struct patch *patch; /* one a hole */
    bool *rough;         /* one a hole: could not be faired */
    struct job *job;
};

static size_t hole_edges(const struct rims *rims, uint32_t hole)
{
    size_t edges = 0;
    for (uint32_t m = rims->hole_start[hole]; m < rims->hole_start[hole + 1]; m++)
        edges += rims->start[rims->member[m] + 1] - rims->start[rims->member[m]];
    return edges;
}

/* --- one hole ----------------------------------------------------------------------------- */

static enum status lacking(const struct filling *f)
{
    return job_cancelled(f->job) ? STATUS_CANCELLED : STATUS_MEMORY;
}

static enum status shape_flatly(struct filling *f, struct patch *patch)
{
    patch->flat = 1 - 1e-9;
    for (uint32_t h = 0; h < 3 * patch->triangles; h++)
        if (!patch_look_at(patch, h))
            return STATUS_MEMORY;
    return patch_relax(patch, f->job) ? STATUS_OK : lacking(f);
}

static bool triangulate(struct filling *f, const struct walk *walk, struct patch *patch)
{
    bool done = false;
    if (f->shape == FILL_FLAT && plane_is_flat(walk, patch) &&
        !plane_fill(walk, patch, &done, f->job))
        return false;
    if (done && !patch_fits(patch)) { /* weighing looks for another way */
        patch->triangles = 0;
        done = false;
    }
    return (done || weigh_walk(walk, f->shape, patch, f->job)) && patch_settle(patch);
}

static enum status fill_one(struct filling *f, uint32_t hole)
{
    struct patch *patch = f->patch + hole;
    struct around around = {0};
    struct walk walk = {0};
    size_t edges = hole_edges(&f->rims, hole);
    bool ok = walk_make(f->mesh, &f->rims, hole, patch, &walk, f->job) &&
              around_read(f->mesh, f->topology, patch, &around);
    job_step(f->job, edges);
    ok = ok && triangulate(f, &walk, patch);
    job_step(f->job, edges);
    enum status status = ok ? STATUS_OK : lacking(f);
    if (ok && f->shape == FILL_SMOOTH)
        status = smoothly_shape(patch, &around, &walk, f->rough + hole, f->job);
    else if (ok)
        status = shape_flatly(f, patch);
    job_step(f->job, edges);
    walk_release(&walk);
    around_release(&around);
    return status;
}

/* --- all holes ---------------------------------------------------------------------------- */

struct size {
    size_t edges;
    uint32_t hole;
};

static int size_order(const void *a, const void *b)
{
    const struct size *x = a, *y = b;
    if (x->edges != y->edges)
        return x->edges > y->edges ? -1 : 1;
    return x->hole < y->hole ? -1 : x->hole > y->hole;
}

static enum status report_failure(const struct filling *f, enum status status)
{
    if (status == STATUS_CANCELLED)
        return job_fail_cancelled(f->job);
    return status == STATUS_OK ? STATUS_OK
                               : job_fail_memory(f->job, mesh_triangles(f->mesh) / 8 * 64);
}

/* Side by side, the longest first. */
static enum status fill_all(struct filling *f)
{
    uint32_t holes = (uint32_t)f->rims.holes;
    struct size *size = malloc((holes + 1) * sizeof *size);
    f->patch = calloc(holes + 1, sizeof *f->patch);
    f->rough = calloc(holes + 1, sizeof *f->rough);
    atomic_int failed = size && f->patch && f->rough ? STATUS_OK : STATUS_MEMORY;
    size_t edges = 0;
    for (uint32_t i = 0; i < holes && failed == STATUS_OK; i++) {
        size[i] = (struct size){hole_edges(&f->rims, i), i};
        edges += size[i].edges;
    }
    if (failed == STATUS_OK)
        qsort(size, holes, sizeof *size, size_order);
    job_phase(f->job, "filling holes", 800, STEPS * edges);
    if (failed != STATUS_OK)
        holes = 0;
#pragma omp parallel for num_threads(job_threads(f->job)) schedule(dynamic)
    for (uint32_t i = 0; i < holes; i++) {
        enum status status = failed == STATUS_OK ? fill_one(f, size[i].hole) : STATUS_OK;
        if (status != STATUS_OK)
            failed = (int)status;
    }
    free(size);
    return report_failure(f, (enum status)failed);
}

/* --- the new mesh ------------------------------------------------------------------------- */

struct sum { /* where the parts of a hole's patch go */
    size_t vertex, triangle;
};

static void count_new(const struct filling *f, struct sum *sum)
{
    *sum = (struct sum){mesh_vertices(f->mesh), mesh_triangles(f->mesh)};
    for (size_t i = 0; i < f->rims.holes; i++) {
        sum[i + 1].vertex = sum[i].vertex + f->patch[i].vertices - f->patch[i].rim;
        sum[i + 1].triangle = sum[i].triangle + f->patch[i].triangles;
    }
}

static enum status write_patch(const struct filling *f, size_t hole, struct sum at,
                               struct mesh *made, struct mix *mix)
{
    const struct patch *p = f->patch + hole;
    uint32_t *seed = malloc((p->vertices + 1) * sizeof *seed);
    if (!seed)
        return STATUS_MEMORY;
    spread_seeds(p, seed);
    for (size_t v = p->rim; v < p->vertices; v++) {
        size_t i = at.vertex + v - p->rim;
        mesh_point_edit(made)[i] = vec_point(p->at[v]);
        uint32_t from = p->old[seed[v]];
        mix[i - mesh_vertices(f->mesh)] = (struct mix){{from, from, from}, {1, 0, 0}};
    }
    for (size_t i = 0; i < 3 * p->triangles; i++) {
        uint32_t v = p->corner[i];
        mesh_triangle_edit(made)[at.triangle + i / 3].v[i % 3] =
            v < p->rim ? p->old[v] : (uint32_t)(at.vertex + v - p->rim);
    }
    free(seed);
    return STATUS_OK;
}

static enum status write_mesh(struct filling *f, const struct sum *sum, struct mesh *made,
                              struct mix *mix)
{
    const struct mesh *old = f->mesh;
    size_t holes = f->rims.holes;
    atomic_int failed = STATUS_OK;
    memcpy(mesh_point_edit(made), mesh_point(old), array_bytes(old->point));
    memcpy(mesh_triangle_edit(made), mesh_triangle(old), array_bytes(old->triangle));
#pragma omp parallel for num_threads(job_threads(f->job)) schedule(dynamic)
    for (size_t i = 0; i < holes; i++)
        if (write_patch(f, i, sum[i], made, mix) != STATUS_OK)
            failed = STATUS_MEMORY;
    enum status status = report_failure(f, (enum status)failed);
    if (status == STATUS_OK && old->joined)
        status = points_part(made, mesh_vertices(old), &made->joined, f->job);
    if (status != STATUS_OK)
        return status;
    struct lineage lineage = {.plain_vertices = mesh_vertices(old),
                              .mix = mix,
                              .plain_triangles = mesh_triangles(old),
                              .origin = ORIGIN_INVENTED};
    status = lineage_carry(&lineage, old, made, f->job);
    if (status != STATUS_OK)
        return status;
#pragma omp parallel for num_threads(job_threads(f->job)) schedule(dynamic)
    for (size_t i = 0; i < holes; i++) {
        enum status spread = failed == STATUS_OK ? spread_values(f->patch + i, old, made,
                                                                 (uint32_t)sum[i].vertex, f->job)
                                                 : STATUS_OK;
        if (spread != STATUS_OK)
            failed = (int)spread;
    }
    return report_failure(f, (enum status)failed);
}

static enum status make_mesh(struct filling *f, struct mesh **out)
{
    struct sum *sum = malloc((f->rims.holes + 1) * sizeof *sum);
    if (!sum)
        return job_fail_memory(f->job, f->rims.holes * sizeof *sum);
    count_new(f, sum);
    struct sum all = sum[f->rims.holes];
    struct mix *mix = scratch_new(all.vertex - sum[0].vertex, sizeof *mix);
    struct mesh *made = mesh_new(all.vertex, all.triangle);
    enum status status = STATUS_OK;
    if (!mix || !made)
        status = job_fail_memory(f->job, all.vertex * sizeof(struct point) +
                                             all.triangle * sizeof(struct triangle));
    job_phase(f->job, "joining the new surface", 100, 0);
    if (status == STATUS_OK)
        status = write_mesh(f, sum, made, mix);
    if (status == STATUS_OK) {
        *out = made;
    } else {
        mesh_free(made);
    }
    scratch_free(mix);
    free(sum);
    return status;
}

/* --- the report --------------------------------------------------------------------------- */

static bool is_crossed(const struct filling *f, uint32_t hole)
{
    const struct rims *rims = &f->rims;
    uint32_t rim = rims->member[rims->hole_start[hole]];
    for (uint32_t i = rims->start[rim]; i < rims->start[rim + 1]; i++)
        if (half_from(mesh_triangle(f->mesh), rims->half[i]) == rims->vertex[i])
            return true;
    return false;
}

static double surface_area(const struct mesh *mesh, size_t from, size_t end)
{
    double area = 0;
    for (size_t t = from; t < end; t++) {
        const uint32_t *v = mesh_triangle(mesh)[t].v;
        struct vec a = point_vec(mesh_point(mesh)[v[0]]);
        struct vec b = point_vec(mesh_point(mesh)[v[1]]), c = point_vec(mesh_point(mesh)[v[2]]);
        area += vec_length(vec_cross(vec_sub(b, a), vec_sub(c, a))) / 2;
    }
    return area;
}

static void report(const struct filling *f, const struct mesh *made, struct fill_report *report)
{
    const struct rims *rims = &f->rims;
    size_t old = mesh_triangles(f->mesh), all = mesh_triangles(made);
    report->filled = rims->holes;
    for (uint32_t i = 0; i < rims->hole_start[rims->holes]; i++)
        report->rim += rims->length[rims->member[i]];
    for (uint32_t i = 0; i < rims->holes; i++) {
        report->crossed += is_crossed(f, i);
        report->rough += f->rough[i];
    }
    report->area = surface_area(made, old, all);
    double total = report->area + surface_area(made, 0, old);
    report->share = total > 0 ? report->area / total : 0;
    report->vertices = mesh_vertices(made) - mesh_vertices(f->mesh);
    report->triangles = all - old;
}

static enum status fill_joined(struct filling *f, const struct fill_options *options,
                               struct mesh **out, struct fill_report *counts)
{
    job_phase(f->job, "looking for holes", 100, 0);
    f->topology = mesh_topology(f->mesh, f->job);
    if (!f->topology)
        return job_status(f->job);
    enum status status = rims_read(f->mesh, f->topology, options, &f->rims, counts, f->job);
    if (status != STATUS_OK)
        return status;
    if (f->rims.holes == 0) {
        *out = mesh_share(f->mesh);
    } else {
        status = fill_all(f);
        status = status == STATUS_OK ? make_mesh(f, out) : status;
        if (status == STATUS_OK)
            report(f, *out, counts);
    }
    for (size_t i = 0; i < f->rims.holes && f->patch; i++)
        fill_patch_release(f->patch + i);
    free(f->patch);
    free(f->rough);
    rims_release(&f->rims);
    return status;
}

enum status fill_holes(const struct mesh *mesh, const struct fill_options *options,
                       struct mesh **out, struct fill_report *counts, struct job *job)
{
    *counts = (struct fill_report){0};
    struct mesh *joined = mesh->joined ? mesh_share(mesh) : weld_exact(mesh, job);
    if (!joined)
        return job_status(job);
    struct filling f = {.mesh = joined, .shape = options->shape, .job = job};
    enum status status = fill_joined(&f, options, out, counts);
    mesh_free(joined);
    return status;
}
