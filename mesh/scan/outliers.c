#include "scan/outliers.h"

#include "core/apart.h"
#include "core/job.h"
#include "core/nth.h"
#include "core/subset.h"
#include "scan/outliers_parts.h"

enum { NUMBERS = 1 << 18 }; /* a median of so many is that of all to a thousandth of the spread */

static const double least_spread = 0.2;

enum status outliers_limit(const float *logarithm, size_t count, double sigma, double *limit,
                           struct job *job)
{
    size_t every = count / NUMBERS + 1, n = 0;
    double *some = scratch_new(count / every + 1, sizeof *some);
    if (!some)
        return job_fail_memory(job, count / every * sizeof *some);
    for (size_t i = 0; i < count; i += every)
        if (isfinite(logarithm[i]))
            some[n++] = (double)logarithm[i];
    *limit = sigma * least_spread;
    if (n) {
        double median = nth_smallest(some, n, n / 2);
        for (size_t i = 0; i < n; i++)
            some[i] = fabs(some[i] - median);
        *limit = median + sigma * fmax(1.4826 * nth_smallest(some, n, n / 2), least_spread);
    }
    scratch_free(some);
    return STATUS_OK;
}

/* Points that no triangle uses go. */
static void drop_unused(const struct mesh *mesh, uint8_t *keep, struct outliers_report *report)
{
    enum { USED = 2 };
    for (size_t c = 0; c < 3 * mesh_triangles(mesh); c++)
        keep[mesh_triangle(mesh)[c / 3].v[c % 3]] |= USED;
    for (size_t v = 0; v < mesh_vertices(mesh); v++) {
        report->unused += keep[v] == 1;
        keep[v] = keep[v] == (USED | 1);
    }
}

static enum status find(const struct mesh *mesh, const struct outliers_options *options,
                        uint8_t *keep, struct outliers_report *report, struct job *job)
{
    bool cloud = mesh_triangles(mesh) == 0;
    enum status status = cloud ? outliers_in_cloud(mesh, options, keep, &report->factor, job)
                               : outliers_in_mesh(mesh, options->sigma, keep, &report->factor, job);
    if (status == STATUS_OK)
        status = mesh_spacing(mesh, &report->spacing, job);
    if (status != STATUS_OK)
        return status;
    for (size_t v = 0; v < mesh_vertices(mesh); v++)
        report->strays += !keep[v];
    if (!cloud)
        drop_unused(mesh, keep, report);
    report->left = mesh_vertices(mesh) - report->strays - report->unused;
    return report->left
               ? STATUS_OK
               : job_fail(job, STATUS_REFUSED, "every point would be a stray; raise sigma");
}

struct mesh *outliers(const struct mesh *mesh, const struct outliers_options *options,
                      struct outliers_report *report, struct job *job)
{
    size_t vertices = mesh_vertices(mesh);
    *report = (struct outliers_report){0};
    if (vertices == 0) {
        job_fail(job, STATUS_REFUSED, "there are no points in it");
        return NULL;
    }
    uint8_t *keep = scratch_new(vertices, 1);
    struct mesh *rest = NULL;
    if (!keep)
        job_fail_memory(job, vertices);
    else if (find(mesh, options, keep, report, job) == STATUS_OK)
        rest = mesh_subset_points(mesh, keep, job);
    scratch_free(keep);
    if (rest)
        report->triangles = mesh_triangles(mesh) - mesh_triangles(rest);
    return rest;
}
