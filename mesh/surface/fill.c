#include "surface/fill.h"

#include <stdlib.h>
#include <string.h>

#include "core/job.h"
#include "core/lineage.h"
#include "core/weld.h"
#include "surface/fill_apart.h"
#include "surface/fill_one.h"
#include "surface/fill_parts.h"
#include "surface/fill_spread.h"

static enum status fill_all(struct filling *f)
{
    uint32_t holes = (uint32_t)f->rims.holes;
    size_t edges = 0;
    f->lid = calloc(holes + 1, sizeof *f->lid);
    if (!f->lid)
        return job_fail_memory(f->job, holes * sizeof *f->lid);
    for (uint32_t i = 0; i < holes; i++) {
        f->lid[i].reshape = true;
        edges += lid_edges(&f->rims, i);
    }
    job_phase(f->job, "filling holes", 350, LID_STEPS * edges);
    return lids_make(f);
}

/* --- the new mesh ------------------------------------------------------------------------- */

/* Where the vertices of each lid go; the last: how many there are. */
static void count_vertices(const struct filling *f, size_t *vertex)
{
    vertex[0] = mesh_vertices(f->mesh);
    for (size_t i = 0; i < f->rims.holes; i++)
        vertex[i + 1] = vertex[i] + f->lid[i].patch.vertices - f->lid[i].patch.rim;
}

static void write_patch(const struct patch *p, size_t vertex, size_t triangle, struct mesh *made)
{
    for (size_t v = p->rim; v < p->vertices; v++)
        mesh_point_edit(made)[vertex + v - p->rim] = vec_point(p->at[v]);
    for (size_t i = 0; i < 3 * p->triangles; i++) {
        uint32_t v = p->corner[i];
        mesh_triangle_edit(made)[triangle + i / 3].v[i % 3] =
            v < p->rim ? p->old[v] : (uint32_t)(vertex + v - p->rim);
    }
}

struct mesh *lids_mesh(struct filling *f, size_t *start)
{
    const struct mesh *old = f->mesh;
    size_t holes = f->rims.holes, *vertex = malloc((holes + 1) * sizeof *vertex);
    if (!vertex) {
        job_fail_memory(f->job, holes * sizeof *vertex);
        return NULL;
    }
    count_vertices(f, vertex);
    start[0] = mesh_triangles(old);
    for (size_t i = 0; i < holes; i++)
        start[i + 1] = start[i] + f->lid[i].patch.triangles;
    struct mesh *made = mesh_new(vertex[holes], start[holes]);
    if (made) {
        memcpy(made->origin, old->origin, sizeof old->origin);
        memcpy(mesh_point_edit(made), mesh_point(old), array_bytes(old->point));
        memcpy(mesh_triangle_edit(made), mesh_triangle(old), array_bytes(old->triangle));
#pragma omp parallel for num_threads(job_threads(f->job)) schedule(dynamic)
        for (size_t i = 0; i < holes; i++)
            write_patch(&f->lid[i].patch, vertex[i], start[i], made);
        if (old->joined &&
            points_part(made, mesh_vertices(old), &made->joined, f->job) != STATUS_OK) {
            mesh_free(made);
            made = NULL;
        }
    } else {
        job_fail_memory(f->job, vertex[holes] * sizeof(struct point) +
                                    start[holes] * sizeof(struct triangle));
    }
    free(vertex);
    return made;
}

static enum status report_failure(const struct filling *f, enum status status)
{
    if (status == STATUS_CANCELLED)
        return job_fail_cancelled(f->job);
    return status == STATUS_OK ? STATUS_OK
                               : job_fail_memory(f->job, mesh_triangles(f->mesh) / 8 * 64);
}

/* Every new vertex comes from the vertex of the rim nearest to it. */
static enum status mix_patch(const struct patch *p, struct mix *mix)
{
    uint32_t *seed = malloc((p->vertices + 1) * sizeof *seed);
    if (!seed)
        return STATUS_MEMORY;
    spread_seeds(p, seed);
    for (size_t v = p->rim; v < p->vertices; v++) {
        uint32_t from = p->old[seed[v]];
        mix[v - p->rim] = (struct mix){{from, from, from}, {1, 0, 0}};
    }
    free(seed);
    return STATUS_OK;
}

static enum status carry(struct filling *f, const size_t *vertex, struct mix *mix,
                         struct mesh *made)
{
    const struct mesh *old = f->mesh;
    size_t holes = f->rims.holes;
    atomic_int failed = STATUS_OK;
#pragma omp parallel for num_threads(job_threads(f->job)) schedule(dynamic)
    for (size_t i = 0; i < holes; i++)
        if (mix_patch(&f->lid[i].patch, mix + (vertex[i] - vertex[0])) != STATUS_OK)
            failed = STATUS_MEMORY;
    enum status status = report_failure(f, (enum status)failed);
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
        enum status spread = failed == STATUS_OK ? spread_values(&f->lid[i].patch, old, made,
                                                                 (uint32_t)vertex[i], f->job)
                                                 : STATUS_OK;
        if (spread != STATUS_OK)
            failed = (int)spread;
    }
    return report_failure(f, (enum status)failed);
}

/* The attributes. */
static enum status finish_mesh(struct filling *f, struct mesh *made)
{
    size_t *vertex = malloc((f->rims.holes + 1) * sizeof *vertex);
    struct mix *mix = scratch_new(mesh_vertices(made) - mesh_vertices(f->mesh), sizeof *mix);
    enum status status = STATUS_OK;
    if (vertex && mix) {
        count_vertices(f, vertex);
        status = carry(f, vertex, mix, made);
    } else {
        status = job_fail_memory(f->job, mesh_vertices(made) * sizeof *mix);
    }
    scratch_free(mix);
    free(vertex);
    return status;
}

static enum status make_mesh(struct filling *f, struct mesh **out, struct fill_report *counts)
{
    size_t *start = malloc((f->rims.holes + 1) * sizeof *start);
    if (!start)
        return job_fail_memory(f->job, f->rims.holes * sizeof *start);
    struct mesh *made = lids_mesh(f, start);
    enum status status = made ? lids_retreat(f, &made, start, counts) : job_status(f->job);
    job_phase(f->job, "joining the new surface", 100, 0);
    if (status == STATUS_OK)
        status = finish_mesh(f, made);
    if (status == STATUS_OK) {
        *out = made;
    } else {
        mesh_free(made);
    }
    free(start);
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

static double triangle_area(const struct mesh *mesh, size_t t)
{
    const uint32_t *v = mesh_triangle(mesh)[t].v;
    struct vec a = point_vec(mesh_point(mesh)[v[0]]);
    struct vec b = point_vec(mesh_point(mesh)[v[1]]), c = point_vec(mesh_point(mesh)[v[2]]);
    return vec_length(vec_cross(vec_sub(b, a), vec_sub(c, a))) / 2;
}

/* Parts of a fixed size are added up, so the sum is the same for any number of threads. */
static double surface_area(const struct mesh *mesh, size_t from, size_t end, struct job *job)
{
    enum { PART = 16384 };
    size_t parts = (end - from + PART - 1) / PART;
    double *part = calloc(parts + 1, sizeof *part), area = 0;
#pragma omp parallel for num_threads(job_threads(job)) schedule(static)
    for (size_t i = 0; i < parts; i++) {
        double sum = 0;
        size_t first = from + i * PART, last = first + PART < end ? first + PART : end;
        for (size_t t = first; t < last; t++)
            sum += triangle_area(mesh, t);
        if (part)
            part[i] = sum;
    }
    for (size_t i = 0; i < parts && part; i++)
        area += part[i];
    free(part);
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
        report->rough += f->lid[i].rough;
    }
    report->area = surface_area(made, old, all, f->job);
    double total = report->area + surface_area(made, 0, old, f->job);
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
        status = status == STATUS_OK ? make_mesh(f, out, counts) : status;
        if (status == STATUS_OK)
            report(f, *out, counts);
    }
    for (size_t i = 0; i < f->rims.holes && f->lid; i++) {
        fill_patch_release(&f->lid[i].patch);
        free(f->lid[i].clear);
    }
    free(f->lid);
    rims_release(&f->rims);
    return status;
}

/* The one hole that is near the place. */
static enum status fill_at(struct filling *f, const struct fill_options *options, struct mesh **out,
                           struct fill_report *counts)
{
    double distance;
    uint8_t *mark = calloc(mesh_vertices(f->mesh) + 1, sizeof *mark);
    struct fill_options one = *options;
    if (!mark)
        return job_fail_memory(f->job, mesh_vertices(f->mesh));
    one.where = mark;
    enum status status = fill_one_find(f->mesh, *options->at, mark, &distance, f->job);
    if (status == STATUS_OK)
        status = fill_joined(f, &one, out, counts);
    free(mark);
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
    enum status status =
        options->at ? fill_at(&f, options, out, counts) : fill_joined(&f, options, out, counts);
    mesh_free(joined);
    return status;
}
