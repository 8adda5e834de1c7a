#include "scan/surfels.h"

#include <stdlib.h>

#include "core/job.h"
#include "core/subset.h"
#include "core/topology.h"
#include "scan/cells.h"
#include "scan/normals.h"
#include "scan/samples.h"

enum {
    BLOCK = 2048,
    PROBES = 1500,         /* points asked for what is usual */
    SPARSE_SAMPLES = 6000, /* of a mesh of few vertices */
    SPARSE_PARTS = 100,    /* of the size: vertices farther apart than such a part are few */
    AROUND = 12,           /* neighbours that tell whether there is an edge */
    NEAR = 6               /* neighbours looked at, the point itself not counted */
};
static const double edge_from = 0.45; /* radians: normals lean so much at an edge */
static const double stray_from = 3;   /* times the usual distance: a point is stray */

void surfels_release(struct surfels *surfels)
{
    mesh_free(surfels->cloud);
    scratch_free(surfels->normal);
    *surfels = (struct surfels){0};
}

static enum status room_for(struct surfels *surfels, size_t count, struct job *job)
{
    surfels->cloud = mesh_new(count, 0);
    surfels->normal = scratch_new(count, sizeof *surfels->normal);
    if (surfels->cloud && surfels->normal)
        return STATUS_OK;
    return job_fail_memory(job, count * 2 * sizeof(struct point));
}

/* --- what is usual --------------------------------------------------------------------------- */

static int ascending(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

static double median(double *value, size_t count)
{
    qsort(value, count, sizeof *value, ascending);
    return count ? value[count / 2] : 0;
}

/* The distance from a point to its neighbours: of the NEAR nearest other places, their mean. */
static double distance_around(const struct tree *tree, struct vec at, uint32_t *neighbour)
{
    struct neighbour near[NEAR + 1];
    size_t count = tree_neighbours(tree, at, INFINITY, NEAR + 1, near);
    double sum = 0;
    for (size_t i = 1; i < count; i++)
        sum += sqrt(near[i].distance2);
    *neighbour = count ? near[count / 2].vertex : NO_INDEX;
    return count > 1 ? sum / (double)(count - 1) : 0;
}

/* The median distance of neighbours; with normals, also how far they stand off each other's planes.
 */
static void probe(const struct surfels *s, const struct tree *tree, double *spacing, double *blur)
{
    size_t count = surfels_count(s), probes = count < PROBES ? count : PROBES;
    double around[PROBES], off[PROBES];
    for (size_t i = 0; i < probes; i++) {
        size_t v = i * count / probes;
        uint32_t other;
        struct vec p = surfels_at(s, v);
        around[i] = distance_around(tree, p, &other);
        off[i] = 0;
        if (!s->normal || other == NO_INDEX)
            continue;
        struct vec n = vec_add(surfels_normal(s, v), surfels_normal(s, other));
        off[i] = fabs(vec_dot(vec_sub(p, surfels_at(s, other)), n)) / 2;
    }
    *spacing = median(around, probes);
    *blur = 1.4826 * median(off, probes);
}

/* The least cosine between a point's normal and those of the AROUND points next to it. */
static double bend_at(const struct surfels *s, size_t i)
{
    struct neighbour near[AROUND + 1];
    struct vec n = surfels_normal(s, i);
    size_t count = tree_neighbours(s->tree, surfels_at(s, i), INFINITY, AROUND + 1, near);
    double least = 1;
    for (size_t k = 0; k < count; k++)
        least = fmin(least, vec_dot(n, surfels_normal(s, near[k].vertex)));
    return least;
}

bool surfels_at_edge(const struct surfels *surfels, size_t i)
{
    return surfels->tree && bend_at(surfels, i) < surfels->level;
}

/* Twice what normals usually lean against those around them, at least edge_from. */
static double level_of(const struct surfels *s)
{
    enum { ASKED = 300 };
    size_t count = surfels_count(s), asked = count < ASKED ? count : ASKED;
    double bend[ASKED];
    for (size_t i = 0; i < asked; i++)
        bend[i] = acos(fmin(1, fmax(-1, bend_at(s, i * count / asked))));
    return cos(fmin(fmax(edge_from, 2 * median(bend, asked)), 1));
}

/* Once points and normals are there: the tree and the figures. */
static enum status finish(struct surfels *s, struct job *job)
{
    const struct bounds *bounds = mesh_bounds(s->cloud, job);
    s->tree = bounds ? mesh_tree(s->cloud, job) : NULL;
    if (!s->tree)
        return job_status(job);
    s->size = vec_length(bounds->size);
    probe(s, s->tree, &s->spacing, &s->blur);
    s->blur = fmax(s->blur, 2e-3 * s->spacing);
    s->level = level_of(s);
    return STATUS_OK;
}

/* --- from a mesh ----------------------------------------------------------------------------- */

/* Marks the points of a cloud whose neighbours are far, beside the usual. */
static enum status mark_stray(const struct mesh *mesh, uint8_t *stray, struct job *job)
{
    struct mesh *cloud = mesh_cloud(mesh, job);
    const struct tree *tree = cloud ? mesh_tree(cloud, job) : NULL;
    if (!tree) {
        mesh_free(cloud);
        return job_status(job);
    }
    double usual, none;
    const struct surfels bare = {.cloud = cloud};
    probe(&bare, tree, &usual, &none);
    size_t count = mesh_vertices(cloud);
#pragma omp parallel for num_threads(job_threads(job)) schedule(dynamic)
    for (size_t from = 0; from < count; from += BLOCK)
        for (size_t v = from; v < from + BLOCK && v < count && !job_cancelled(job); v++) {
            uint32_t other;
            double around = distance_around(tree, point_vec(mesh_point(cloud)[v]), &other);
            stray[v] = around > stray_from * usual;
        }
    mesh_free(cloud);
    return job_cancelled(job) ? job_fail_cancelled(job) : STATUS_OK;
}

/* Normals weighted by the area of the triangles around, which is quicker than by angle. */
static struct point *face_normals(const struct mesh *mesh, struct job *job)
{
    size_t count = mesh_vertices(mesh), triangles = mesh_triangles(mesh);
    struct point *normal = scratch_new(count, sizeof *normal);
    if (!normal) {
        job_fail_memory(job, count * sizeof *normal);
        return NULL;
    }
    for (size_t v = 0; v < count; v++)
        normal[v] = (struct point){0, 0, 0};
    for (size_t t = 0; t < triangles; t++) {
        if (t % BLOCK == 0 && job_cancelled(job))
            break;
        const uint32_t *v = mesh_triangle(mesh)[t].v;
        struct vec a = point_vec(mesh_point(mesh)[v[0]]);
        struct vec n = vec_cross(vec_sub(point_vec(mesh_point(mesh)[v[1]]), a),
                                 vec_sub(point_vec(mesh_point(mesh)[v[2]]), a));
        for (int k = 0; k < 3; k++)
            normal[v[k]] = vec_point(vec_add(point_vec(normal[v[k]]), n));
    }
    for (size_t v = 0; v < count; v++)
        normal[v] = vec_point(vec_unit(point_vec(normal[v])));
    return normal;
}

/* The middle of the box, a point of the float grid. */
static struct vec middle_of(const struct mesh *mesh)
{
    struct vec low = vec(INFINITY, INFINITY, INFINITY), high = vec_scale(low, -1);
    for (size_t v = 0; v < mesh_vertices(mesh); v++) {
        struct vec p = point_vec(mesh_point(mesh)[v]);
        low = vec(fmin(low.x, p.x), fmin(low.y, p.y), fmin(low.z, p.z));
        high = vec(fmax(high.x, p.x), fmax(high.y, p.y), fmax(high.z, p.z));
    }
    return mesh_vertices(mesh) ? vec_scale(vec_add(low, high), 0.5) : vec(0, 0, 0);
}

static enum status take_points(const struct mesh *mesh, const struct point *normal,
                               const uint8_t *stray, struct surfels *out, struct job *job)
{
    size_t count = 0;
    struct vec middle = middle_of(mesh);
    enum status status = room_for(out, mesh_vertices(mesh), job);
    if (status != STATUS_OK)
        return status;
    out->middle = mesh_world(mesh, middle);
    for (size_t v = 0; v < mesh_vertices(mesh); v++) {
        if ((stray && stray[v]) || !(vec_length2(point_vec(normal[v])) > 0.5))
            continue;
        struct vec p = vec_sub(point_vec(mesh_point(mesh)[v]), middle);
        mesh_point_edit(out->cloud)[count] = vec_point(p);
        out->normal[count++] = normal[v];
    }
    array_shrink(out->cloud->point, count);
    return STATUS_OK;
}

/* Whether a mesh's vertices are too few to stand for its surface, as after decimation. */
static bool is_sparse(const struct mesh *mesh, const struct bounds *bounds)
{
    double area = 0, size2 = vec_length2(bounds->size);
    for (size_t t = 0; t < mesh_triangles(mesh); t++) {
        const uint32_t *v = mesh_triangle(mesh)[t].v;
        struct vec a = point_vec(mesh_point(mesh)[v[0]]);
        area += vec_length(vec_cross(vec_sub(point_vec(mesh_point(mesh)[v[1]]), a),
                                     vec_sub(point_vec(mesh_point(mesh)[v[2]]), a))) /
                2;
    }
    return area / (double)mesh_vertices(mesh) > size2 / (SPARSE_PARTS * SPARSE_PARTS);
}

/* Points spread over the triangles, with their normals. */
static enum status from_triangles(const struct mesh *mesh, struct surfels *out, struct job *job)
{
    struct samples samples;
    struct vec middle = middle_of(mesh);
    size_t count = 0;
    enum status status = samples_take(mesh, SPARSE_SAMPLES, &samples, job);
    if (status == STATUS_OK)
        status = room_for(out, samples.count, job);
    out->middle = mesh_world(mesh, middle);
    for (size_t i = 0; i < samples.count && status == STATUS_OK; i++) {
        const struct sample *sample = &samples.sample[i];
        if (!(vec_length2(sample->normal) > 0.5))
            continue;
        mesh_point_edit(out->cloud)[count] = vec_point(vec_sub(sample->at, middle));
        out->normal[count++] = vec_point(sample->normal);
    }
    if (status == STATUS_OK)
        array_shrink(out->cloud->point, count);
    samples_release(&samples);
    return status;
}

/* Whether the points name where they were seen from, and the normals face there. */
static bool face_views(const struct mesh *mesh, const struct point *normal)
{
    const struct point *view = mesh_attribute(mesh, ATTRIBUTE_view);
    double seen = 0, looked = 0;
    for (size_t v = 0; view && v < mesh_vertices(mesh); v++) {
        double facing = vec_dot(point_vec(normal[v]), point_vec(view[v]));
        seen += facing;
        looked += fabs(facing);
    }
    return seen > 0.9 * looked;
}

static enum status from_mesh(const struct mesh *mesh, struct surfels *out, struct job *job)
{
    uint8_t *stray = NULL;
    bool bare = mesh_triangles(mesh) == 0;
    const struct bounds *bounds = mesh_bounds(mesh, job);
    if (!bounds)
        return job_status(job);
    if (!bare && is_sparse(mesh, bounds))
        return from_triangles(mesh, out, job);
    struct point *normal = bare ? normals_of(mesh, job) : face_normals(mesh, job);
    out->side_guessed =
        bare && normal && !mesh_attribute(mesh, ATTRIBUTE_normal) && !face_views(mesh, normal);
    enum status status = normal ? STATUS_OK : job_status(job);
    if (status == STATUS_OK && bare) {
        stray = scratch_new(mesh_vertices(mesh), sizeof *stray);
        status = stray ? mark_stray(mesh, stray, job) : job_fail_memory(job, mesh_vertices(mesh));
    }
    if (status == STATUS_OK)
        status = take_points(mesh, normal, stray, out, job);
    scratch_free(stray);
    scratch_free(normal);
    return status;
}

enum status surfels_make(const struct mesh *mesh, struct surfels *out, struct job *job)
{
    *out = (struct surfels){0};
    enum status status = from_mesh(mesh, out, job);
    size_t count = surfels_count(out);
    if (status == STATUS_OK)
        status = finish(out, job);
    if (status == STATUS_OK && count > SURFELS_MOST) {
        struct surfels all = *out;
        double wider = sqrt((double)count / (0.8 * SURFELS_MOST));
        status = surfels_thin(&all, all.spacing * wider, 1, out, job);
        out->side_guessed = all.side_guessed;
        out->thinned = false; /* it is all there is to go by */
        surfels_release(&all);
    }
    if (status != STATUS_OK)
        surfels_release(out);
    return status;
}

/* --- thinner --------------------------------------------------------------------------------- */

struct mean {
    struct vec at, normal;
    unsigned points;
};

/* The mean of the cube's points that face as its first does, or of those that do not. */
static struct mean mean_of(const struct surfels *s, const struct cells *cells, size_t c, bool same)
{
    struct mean mean = {.points = 0};
    struct vec first = surfels_normal(s, cells->item[cells->start[c]]);
    for (uint32_t i = cells->start[c]; i < cells->start[c + 1]; i++) {
        struct vec n = surfels_normal(s, cells->item[i]);
        if ((vec_dot(n, first) >= 0) != same)
            continue;
        mean.at = vec_add(mean.at, surfels_at(s, cells->item[i]));
        mean.normal = vec_add(mean.normal, n);
        mean.points++;
    }
    mean.at = vec_scale(mean.at, 1.0 / fmax(1, mean.points));
    mean.normal = vec_unit(mean.normal);
    return mean;
}

static void take_means(const struct surfels *s, const struct cells *cells, unsigned least,
                       struct surfels *out)
{
    size_t count = 0;
    for (size_t c = 0; c < cells->count; c++)
        for (int same = 1; same >= 0; same--) {
            struct mean mean = mean_of(s, cells, c, same);
            if (mean.points < least || mean.points == 0 || vec_length2(mean.normal) == 0)
                continue;
            mesh_point_edit(out->cloud)[count] = vec_point(mean.at);
            out->normal[count++] = vec_point(mean.normal);
        }
    array_shrink(out->cloud->point, count);
}

enum status surfels_thin(const struct surfels *surfels, double spacing, unsigned least,
                         struct surfels *out, struct job *job)
{
    struct cells cells;
    *out = (struct surfels){.middle = surfels->middle, .thinned = true};
    enum status status =
        cells_make(mesh_point(surfels->cloud), surfels_count(surfels), spacing, &cells, job);
    if (status != STATUS_OK)
        return status;
    size_t most =
        2 * cells.count < surfels_count(surfels) ? 2 * cells.count : surfels_count(surfels);
    status = room_for(out, most, job);
    if (status == STATUS_OK) {
        take_means(surfels, &cells, least, out);
        status = finish(out, job);
    }
    cells_release(&cells);
    if (status != STATUS_OK)
        surfels_release(out);
    return status;
}

enum status surfels_take(const struct mesh *cloud, const struct point *normal, struct surfels *out,
                         struct job *job)
{
    *out = (struct surfels){0};
    enum status status = take_points(cloud, normal, NULL, out, job);
    if (status == STATUS_OK)
        status = finish(out, job);
    if (status != STATUS_OK)
        surfels_release(out);
    return status;
}

enum status surfels_firm(const struct surfels *surfels, struct surfels *out, struct job *job)
{
    size_t count = surfels_count(surfels), firm = 0;
    *out = (struct surfels){.middle = surfels->middle};
    enum status status = room_for(out, count, job);
    for (size_t i = 0; i < count && status == STATUS_OK; i++) {
        uint32_t other;
        if (i % BLOCK == 0 && job_cancelled(job))
            status = job_fail_cancelled(job);
        struct vec p = surfels_at(surfels, i);
        if (distance_around(surfels->tree, p, &other) > stray_from * surfels->spacing)
            continue;
        mesh_point_edit(out->cloud)[firm] = vec_point(p);
        out->normal[firm++] = surfels->normal[i];
    }
    if (status == STATUS_OK) {
        array_shrink(out->cloud->point, firm);
        status = finish(out, job);
    }
    if (status != STATUS_OK)
        surfels_release(out);
    return status;
}

/* --- several as one -------------------------------------------------------------------------- */

static void take_moved(const struct surfels *part, const struct rigid *pose, struct surfels *out,
                       size_t at)
{
    for (size_t i = 0; i < surfels_count(part); i++) {
        mesh_point_edit(out->cloud)[at + i] = vec_point(rigid_apply(pose, surfels_at(part, i)));
        out->normal[at + i] = vec_point(rigid_direction(pose, surfels_normal(part, i)));
    }
}

enum status surfels_merge(const struct surfels *const *part, const struct rigid *pose, size_t count,
                          struct surfels *out, struct job *job)
{
    struct surfels all = {.middle = vec(0, 0, 0)};
    size_t points = 0;
    double spacing = 0;
    for (size_t i = 0; i < count; i++) {
        points += surfels_count(part[i]);
        spacing = fmax(spacing, part[i]->spacing);
    }
    *out = (struct surfels){0};
    enum status status = room_for(&all, points, job);
    for (size_t i = 0, at = 0; i < count && status == STATUS_OK; at += surfels_count(part[i++]))
        take_moved(part[i], &pose[i], &all, at);
    double wider = sqrt(fmax(1, (double)points / SURFELS_MOST));
    if (status == STATUS_OK)
        status = surfels_thin(&all, spacing * wider, 1, out, job);
    out->thinned = false; /* it is all there is to go by */
    surfels_release(&all);
    return status;
}
