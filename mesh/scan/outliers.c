#include "scan/outliers.h"

#include <string.h>

#include "core/job.h"
#include "core/nth.h"
#include "core/spacing.h"
#include "core/subset.h"
#include "scan/outliers_parts.h"

enum { NUMBERS = 1 << 18 }; /* a median of so many is that of all to a thousandth of the spread */

static const double least_spread = 0.2;

enum status outliers_middle(const float *number, size_t count, struct middle *out, struct job *job)
{
    size_t every = count / NUMBERS + 1, n = 0;
    double *some = scratch_new(count / every + 1, sizeof *some);
    if (!some)
        return job_fail_memory(job, count / every * sizeof *some);
    for (size_t i = 0; i < count; i += every)
        if (isfinite(number[i]))
            some[n++] = (double)number[i];
    *out = (struct middle){0, 0};
    if (n) {
        out->median = nth_smallest(some, n, n / 2);
        for (size_t i = 0; i < n; i++)
            some[i] = fabs(some[i] - out->median);
        out->spread = 1.4826 * nth_smallest(some, n, n / 2);
    }
    scratch_free(some);
    return STATUS_OK;
}

/* Turns the verdicts in keep[] into whether a point stays. */
static enum status decide(const struct mesh *mesh, const struct outliers_options *options,
                          const float *ratio, uint8_t *keep, struct outliers_report *report,
                          struct job *job)
{
    struct middle middle;
    enum status status = outliers_middle(ratio, mesh_vertices(mesh), &middle, job);
    if (status != STATUS_OK)
        return status;
    double most = middle.median + options->sigma * fmax(middle.spread, least_spread);
    report->factor = exp(most);
    for (size_t v = 0; v < mesh_vertices(mesh); v++) {
        bool stray = keep[v] == GOES || (keep[v] == BY_RATIO && (double)ratio[v] > most);
        report->strays += stray;
        report->left += !stray;
        keep[v] = !stray;
    }
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
        report->left -= keep[v] == 1;
        keep[v] = keep[v] == (USED | 1);
    }
}

static enum status find(const struct mesh *mesh, const struct outliers_options *options,
                        float *ratio, uint8_t *keep, struct outliers_report *report,
                        struct job *job)
{
    memset(keep, BY_RATIO, mesh_vertices(mesh));
    enum status status = mesh_triangles(mesh) ? outliers_in_mesh(mesh, ratio, job)
                                              : outliers_in_cloud(mesh, options, ratio, keep, job);
    if (status == STATUS_OK)
        status = mesh_spacing(mesh, &report->spacing, job);
    if (status == STATUS_OK)
        status = decide(mesh, options, ratio, keep, report, job);
    if (status == STATUS_OK && mesh_triangles(mesh))
        drop_unused(mesh, keep, report);
    if (status == STATUS_OK && report->left == 0)
        status = job_fail(job, STATUS_REFUSED, "every point would be a stray; raise sigma");
    return status;
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
    float *ratio = scratch_new(vertices, sizeof *ratio);
    uint8_t *keep = scratch_new(vertices, 1);
    struct mesh *rest = NULL;
    if (!ratio || !keep)
        job_fail_memory(job, vertices * (sizeof *ratio + 1));
    else if (find(mesh, options, ratio, keep, report, job) == STATUS_OK)
        rest = mesh_subset_points(mesh, keep, job);
    scratch_free(ratio);
    scratch_free(keep);
    if (rest)
        report->triangles = mesh_triangles(mesh) - mesh_triangles(rest);
    return rest;
}
