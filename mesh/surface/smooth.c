#include "surface/smooth.h"

#include <float.h>
#include <stdlib.h>
#include <string.h>

#include "core/buckets.h"
#include "core/job.h"
#include "core/topology.h"
#include "core/weld.h"
#include "surface/fill_apart.h"

enum {
    BLOCK = 4096,    /* vertices or triangles between two looks at cancel */
    OFFSETS_MOST = 4 /* steps until the volume is right */
};

/* Taubin's transfer function (1 - forth k)(1 - back k) is 1 again at this frequency k (0 for a flat
 * surface, 2 for the sharpest zigzag; 0.04 is a wave of 22 edges). What is below it even grows, by
 * a share of forth |back| k^2 / 4 a pass at most: 0.0002 here, which a hundred passes may add up.
 */
static const double pass_band = 0.04;
/* The forward step of strength 1. With it even the sharpest zigzag shrinks: |f(2)| is 0.7. */
static const double step_most = 0.65;
/* Cotangents of angles outside 9 to 90 degrees count as those: no neighbour pulls alone, none
 * pushes. */
static const double cotangent_least = 0.02, cotangent_most = 6;

struct smoothing {
    const struct mesh *mesh; /* joined */
    const struct triangle *triangle;
    struct buckets corners; /* half-edges by the vertex they leave */
    float *cotangent;       /* one a half-edge: of the angle across from it */
    uint64_t *stays;        /* one bit a vertex */
    struct point *from, *to;
    struct job *job;
};

static bool stays(const struct smoothing *s, size_t v)
{
    return s->stays[v / 64] >> v % 64 & 1;
}

/* --- what is known beforehand ------------------------------------------------------------- */

static void weigh(struct smoothing *s, size_t begin, size_t end)
{
    for (size_t t = begin; t < end; t++) {
        struct vec p[3];
        for (int k = 0; k < 3; k++)
            p[k] = point_vec(mesh_point(s->mesh)[s->triangle[t].v[k]]);
        for (size_t k = 0; k < 3; k++) { /* across from the side k, k + 1 */
            struct vec at = p[(k + 2) % 3], u = vec_sub(p[k], at), v = vec_sub(p[(k + 1) % 3], at);
            double sine = vec_length(vec_cross(u, v)), cosine = vec_dot(u, v);
            double value = sine * cotangent_most > cosine ? cosine / sine : cotangent_most;
            s->cotangent[3 * t + k] = (float)(value > cotangent_least ? value : cotangent_least);
        }
    }
}

static enum status weigh_all(struct smoothing *s)
{
    size_t triangles = mesh_triangles(s->mesh);
    s->cotangent = scratch_new(3 * triangles, sizeof *s->cotangent);
    if (!s->cotangent)
        return job_fail_memory(s->job, 3 * triangles * sizeof *s->cotangent);
#pragma omp parallel for num_threads(job_threads(s->job)) schedule(static)
    for (size_t t = 0; t < triangles; t += BLOCK)
        if (!job_cancelled(s->job))
            weigh(s, t, t + BLOCK < triangles ? t + BLOCK : triangles);
    return job_cancelled(s->job) ? job_fail_cancelled(s->job) : STATUS_OK;
}

static void keep(struct smoothing *s, uint32_t v)
{
    s->stays[v / 64] |= UINT64_C(1) << v % 64;
}

static enum status find_kept(struct smoothing *s, const struct topology *topology, size_t *kept)
{
    size_t vertices = mesh_vertices(s->mesh), halves = 3 * mesh_triangles(s->mesh);
    s->stays = calloc(vertices / 64 + 1, sizeof *s->stays);
    if (!s->stays)
        return job_fail_memory(s->job, vertices / 8);
    for (uint32_t h = 0; h < halves; h++) {
        if (topology->twin[h] != TWIN_NONE && topology->twin[h] != TWIN_MANY)
            continue;
        keep(s, half_from(s->triangle, h));
        keep(s, half_to(s->triangle, h));
        if (h % BLOCK == 0 && job_cancelled(s->job))
            return job_fail_cancelled(s->job);
    }
    *kept = 0;
    for (size_t v = 0; v < vertices; v++) {
        if (topology->fan[v] == NO_INDEX)
            keep(s, (uint32_t)v);
        else
            *kept += stays(s, v);
    }
    return STATUS_OK;
}

/* --- passes ------------------------------------------------------------------------------- */

static struct point moved(const struct smoothing *s, size_t v, double step)
{
    struct vec sum = vec(0, 0, 0), at = point_vec(s->from[v]);
    double weight = 0;
    for (uint32_t i = s->corners.start[v]; i < s->corners.start[v + 1]; i++) {
        uint32_t h = s->corners.half[i], p = half_prev(h);
        double a = (double)s->cotangent[h], b = (double)s->cotangent[p];
        sum = vec_along(sum, a, point_vec(s->from[half_to(s->triangle, h)]));
        sum = vec_along(sum, b, point_vec(s->from[half_from(s->triangle, p)]));
        weight += a + b;
    }
    return vec_point(vec_along(at, step, vec_sub(vec_scale(sum, 1 / weight), at)));
}

static enum status pass(struct smoothing *s, double step)
{
    size_t vertices = mesh_vertices(s->mesh);
#pragma omp parallel for num_threads(job_threads(s->job)) schedule(dynamic)
    for (size_t begin = 0; begin < vertices; begin += BLOCK) {
        size_t end = begin + BLOCK < vertices ? begin + BLOCK : vertices;
        if (!job_step(s->job, end - begin))
            continue;
        for (size_t v = begin; v < end; v++)
            s->to[v] = stays(s, v) ? s->from[v] : moved(s, v, step);
    }
    struct point *swap = s->from;
    s->from = s->to;
    s->to = swap;
    return job_cancelled(s->job) ? job_fail_cancelled(s->job) : STATUS_OK;
}

/* Leaves the result in s->from. */
static enum status all_passes(struct smoothing *s, const struct smooth_options *options)
{
    double forth = step_most * options->strength, back = 1 / (pass_band - 1 / forth);
    enum status status = STATUS_OK;
    job_phase(s->job, "smoothing", 700, (uint64_t)2 * options->passes * mesh_vertices(s->mesh));
    for (unsigned i = 0; i < 2 * options->passes && status == STATUS_OK; i++)
        status = pass(s, i % 2 ? back : forth);
    return status;
}

/* --- volume ------------------------------------------------------------------------------- */

struct measure {
    double volume, area;
};

static struct vec normal_of(const struct point *point, struct triangle t, struct vec *centre)
{
    struct vec a = point_vec(point[t.v[0]]), b = point_vec(point[t.v[1]]);
    struct vec c = point_vec(point[t.v[2]]);
    *centre = vec_scale(vec_add(vec_add(a, b), c), 1.0 / 3);
    return vec_cross(vec_sub(b, a), vec_sub(c, a));
}

/* In one order whatever the threads: sums of blocks, added up in turn. Moments are taken about a
 * corner, or a small part far from the origin would lose its volume. */
static struct measure measure(const struct smoothing *s, const struct point *point)
{
    struct measure all = {0, 0};
    struct vec about = point_vec(point[s->triangle[0].v[0]]);
    for (size_t begin = 0; begin < mesh_triangles(s->mesh); begin += BLOCK) {
        if (job_cancelled(s->job))
            break; /* whoever asked looks, too */
        struct measure sum = {0, 0};
        size_t end =
            begin + BLOCK < mesh_triangles(s->mesh) ? begin + BLOCK : mesh_triangles(s->mesh);
        for (size_t t = begin; t < end; t++) {
            struct vec centre, n = normal_of(point, s->triangle[t], &centre);
            sum.volume += vec_dot(vec_sub(centre, about), n) / 6;
            sum.area += vec_length(n) / 2;
        }
        all.volume += sum.volume;
        all.area += sum.area;
    }
    return all;
}

/* Moves every vertex by `by` along its normal. */
static void offset(struct smoothing *s, double by)
{
    size_t vertices = mesh_vertices(s->mesh);
#pragma omp parallel for num_threads(job_threads(s->job)) schedule(static)
    for (size_t v = 0; v < vertices; v++) {
        struct vec sum = vec(0, 0, 0), centre;
        for (uint32_t i = s->corners.start[v]; i < s->corners.start[v + 1]; i++)
            sum = vec_add(sum, normal_of(s->from, s->triangle[s->corners.half[i] / 3], &centre));
        s->to[v] = vec_point(vec_along(point_vec(s->from[v]), by, vec_unit(sum)));
    }
    struct point *swap = s->from;
    s->from = s->to;
    s->to = swap;
}

static bool is_closed(const struct topology *topology)
{
    return topology->boundary == 0 && topology->nonmanifold == 0 && topology->misoriented == 0;
}

/* A closed surface gets its volume back. */
static enum status restore_volume(struct smoothing *s, struct smooth_report *report)
{
    struct measure before = measure(s, mesh_point(s->mesh)), now = measure(s, s->from);
    for (int i = 0; i < OFFSETS_MOST && now.area > 0 && before.volume != 0; i++) {
        report->grown = now.volume / before.volume - 1;
        if (fabs(report->grown) < 1e-7)
            break;
        offset(s, (before.volume - now.volume) / now.area);
        if (!job_cancelled(s->job))
            now = measure(s, s->from);
        report->grown = now.volume / before.volume - 1;
        if (job_cancelled(s->job))
            break;
    }
    return job_cancelled(s->job) ? job_fail_cancelled(s->job) : STATUS_OK;
}

/* --- all ---------------------------------------------------------------------------------- */

static void tell(const struct smoothing *s, const struct point *point, struct smooth_report *report)
{
    size_t free_ones = 0;
    double sum = 0, largest2 = 0;
    for (size_t v = 0; v < mesh_vertices(s->mesh); v++) {
        if (stays(s, v))
            continue;
        double d2 = vec_length2(vec_sub(point_vec(point[v]), point_vec(mesh_point(s->mesh)[v])));
        sum += d2;
        if (d2 > largest2) {
            largest2 = d2;
            report->at = mesh_world(s->mesh, point_vec(mesh_point(s->mesh)[v]));
        }
        free_ones++;
    }
    report->rms = free_ones ? sqrt(sum / (double)free_ones) : 0;
    report->largest = sqrt(largest2);
}

static enum status fill_points(struct smoothing *s, const struct smooth_options *options,
                               struct mesh *made, struct point *spare, struct smooth_report *report)
{
    const struct topology *topology = mesh_topology(s->mesh, s->job);
    enum status status = topology ? STATUS_OK : job_status(s->job);
    if (status == STATUS_OK)
        status = find_kept(s, topology, &report->kept);
    if (status == STATUS_OK)
        status = weigh_all(s);
    if (status == STATUS_OK)
        status = buckets_make(s->mesh, BUCKET_FROM, &s->corners, s->job);
    if (status != STATUS_OK)
        return status;
    s->from = mesh_point_edit(made);
    s->to = spare;
    memcpy(s->from, mesh_point(s->mesh), array_bytes(s->mesh->point));
    status = all_passes(s, options);
    if (status == STATUS_OK && is_closed(topology))
        status = restore_volume(s, report);
    if (status == STATUS_OK && s->from == spare)
        memcpy(mesh_point_edit(made), spare, array_bytes(made->point));
    return status;
}

static enum status smooth_joined(struct smoothing *s, const struct smooth_options *options,
                                 struct mesh **out, struct smooth_report *report)
{
    struct mesh *made = mesh_new_like(s->mesh);
    struct array *point = array_new(mesh_vertices(s->mesh), sizeof(struct point));
    struct point *spare = scratch_new(mesh_vertices(s->mesh), sizeof *spare);
    enum status status = STATUS_OK;
    if (!made || !point || !spare) {
        array_free(point);
        status = job_fail_memory(s->job, 2 * array_bytes(s->mesh->point));
    } else {
        array_free(made->point);
        made->point = point;
        status = fill_points(s, options, made, spare, report);
    }
    if (status == STATUS_OK)
        status = points_part(made, 0, &made->joined, s->job);
    if (status == STATUS_OK) {
        tell(s, mesh_point(made), report);
        *out = made;
    } else {
        mesh_free(made);
    }
    scratch_free(spare);
    scratch_free(s->cotangent);
    free(s->stays);
    buckets_release(&s->corners);
    return status;
}

enum status smooth_mesh(const struct mesh *mesh, const struct smooth_options *options,
                        struct mesh **out, struct smooth_report *report, struct job *job)
{
    *report = (struct smooth_report){0};
    if (mesh_triangles(mesh) == 0 || options->passes == 0) {
        *out = mesh_share(mesh);
        return STATUS_OK;
    }
    struct mesh *joined = mesh->joined ? mesh_share(mesh) : weld_exact(mesh, job);
    if (!joined)
        return job_status(job);
    struct smoothing s = {.mesh = joined, .triangle = mesh_triangle(joined), .job = job};
    enum status status = smooth_joined(&s, options, out, report);
    mesh_free(joined);
    return status;
}
