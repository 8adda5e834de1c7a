#include "surface/dust.h"

#include <math.h>

#include "core/job.h"
#include "core/subset.h"
#include "core/topology.h"

struct box {
    struct point min, max;
};

static void stretch(struct box *box, struct point p)
{
    box->min =
        (struct point){fminf(box->min.x, p.x), fminf(box->min.y, p.y), fminf(box->min.z, p.z)};
    box->max =
        (struct point){fmaxf(box->max.x, p.x), fmaxf(box->max.y, p.y), fmaxf(box->max.z, p.z)};
}

/* The diagonal of each component's box into size[]. */
static enum status diagonals(const struct mesh *mesh, const struct components *components,
                             double *size, struct job *job)
{
    struct box *box = scratch_new(components->count, sizeof *box);
    if (!box)
        return job_fail_memory(job, components->count * sizeof *box);
    for (size_t c = 0; c < components->count; c++)
        box[c] = (struct box){{INFINITY, INFINITY, INFINITY}, {-INFINITY, -INFINITY, -INFINITY}};
    for (size_t t = 0; t < mesh_triangles(mesh); t++)
        for (int k = 0; k < 3; k++)
            stretch(&box[components->of[t]], mesh_point(mesh)[mesh_triangle(mesh)[t].v[k]]);
    for (size_t c = 0; c < components->count; c++)
        size[c] = vec_length(vec_sub(point_vec(box[c].max), point_vec(box[c].min)));
    scratch_free(box);
    return STATUS_OK;
}

/* Marks the components that stay in stays[], counts in the report those that go. */
static void choose(const struct components *components, const double *size, double least,
                   uint8_t *stays, struct dust_report *report)
{
    size_t largest = 0;
    for (size_t c = 1; c < components->count; c++)
        if (components->area[c] > components->area[largest])
            largest = c;
    for (size_t c = 0; c < components->count; c++) {
        stays[c] = c == largest || size[c] >= least;
        report->left += stays[c];
        if (stays[c])
            continue;
        report->components++;
        report->triangles += components->triangles[c];
        report->area += components->area[c];
    }
}

static struct mesh *without(const struct mesh *mesh, const struct components *components,
                            const uint8_t *stays, struct job *job)
{
    size_t triangles = mesh_triangles(mesh);
    uint8_t *keep = scratch_new(triangles, 1);
    if (!keep) {
        job_fail_memory(job, triangles);
        return NULL;
    }
    for (size_t t = 0; t < triangles; t++)
        keep[t] = stays[components->of[t]];
    struct mesh *rest = mesh_subset(mesh, keep, job);
    scratch_free(keep);
    return rest;
}

struct mesh *dust(const struct mesh *mesh, struct dust_limit limit, struct dust_report *report,
                  struct job *job)
{
    *report = (struct dust_report){0};
    if (mesh_triangles(mesh) == 0) {
        job_fail(job, STATUS_REFUSED,
                 "a point cloud has no floating bits; drop stray points with \"outliers\"");
        return NULL;
    }
    const struct components *components = mesh_components(mesh, job);
    if (!components)
        return NULL;
    double *size = scratch_new(components->count, sizeof *size);
    uint8_t *stays = scratch_new(components->count, 1);
    struct mesh *rest = NULL;
    double largest = 0;
    for (size_t c = 0; size && c < components->count; c++) {
        size[c] = components->area[c];
        largest = fmax(largest, size[c]);
    }
    if (!size || !stays) {
        job_fail_memory(job, components->count * sizeof *size);
    } else if (limit.share || diagonals(mesh, components, size, job) == STATUS_OK) {
        choose(components, size, limit.share ? limit.size * largest : limit.size, stays, report);
        rest = without(mesh, components, stays, job);
    }
    scratch_free(size);
    scratch_free(stays);
    return rest;
}
