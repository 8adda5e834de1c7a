#include "scan/clear_table.h"

#include <string.h>

#include "core/job.h"
#include "core/subset.h"
#include "core/topology.h"
#include "scan/clear_parts.h"

enum { BLOCK = 4096, GROWTHS = 2 };
enum fate { GOES_WITH_TABLE, GOES_BENEATH, STAYS };

static const double spreads_low = 3.5, spreads_between = 5;

/* --- heights --------------------------------------------------------------------------------- */

/* What single precision can tell of the largest coordinate is the least. */
static enum status set_limits(struct clearing *c, double thickness)
{
    const struct bounds *b = mesh_bounds(c->mesh, c->job);
    if (!b)
        return job_status(c->job);
    struct vec low = mesh_local(c->mesh, b->min), high = mesh_local(c->mesh, b->max);
    double most = 0;
    for (int k = 0; k < 3; k++)
        most = fmax(most, fmax(fabs((&low.x)[k]), fabs((&high.x)[k])));
    c->low = fmax(thickness > 0 ? thickness : spreads_low * c->table.spread, most * 0x1p-22);
    c->high = c->low + spreads_between * c->table.spread;
    return STATUS_OK;
}

static enum status measure(struct clearing *c)
{
    size_t vertices = mesh_vertices(c->mesh);
    c->height = scratch_new(vertices, sizeof *c->height);
    c->stands = scratch_new(vertices, 1);
    if (!c->height || !c->stands)
        return job_fail_memory(c->job, vertices * 5);
#pragma omp parallel for num_threads(job_threads(c->job)) schedule(static)
    for (size_t b = 0; b < vertices; b += BLOCK)
        for (size_t v = b; v < vertices && v < b + BLOCK && !job_cancelled(c->job); v++)
            c->height[v] = (float)bent_height(&c->table.surface, point_vec(mesh_point(c->mesh)[v]));
    return job_cancelled(c->job) ? job_fail_cancelled(c->job) : STATUS_OK;
}

/* --- triangles ------------------------------------------------------------------------------- */

/* The cosine between the triangle's normal and the table's. */
static double facing(const struct clearing *c, size_t t)
{
    const uint32_t *v = mesh_triangle(c->mesh)[t].v;
    struct vec a = point_vec(mesh_point(c->mesh)[v[0]]);
    struct vec x = vec_sub(point_vec(mesh_point(c->mesh)[v[1]]), a);
    struct vec y = vec_sub(point_vec(mesh_point(c->mesh)[v[2]]), a);
    return vec_dot(vec_unit(vec_cross(x, y)), c->table.surface.plane.normal);
}

static enum fate fate_of(const struct clearing *c, const struct clear_options *options, size_t t)
{
    const uint32_t *v = mesh_triangle(c->mesh)[t].v;
    float lowest = INFINITY;
    int stand = 0;
    for (int k = 0; k < 3; k++) {
        stand += c->stands[v[k]];
        lowest = fminf(lowest, c->height[v[k]]);
    }
    bool beneath = lowest < -c->high;
    /* Where faces tell nothing, a corner in the plane may stand too (a foot's): all three must. */
    bool above = c->height[v[0]] > c->low || c->height[v[1]] > c->low || c->height[v[2]] > c->low;
    if (stand == 3 || (stand > 0 && above))
        return STAYS;
    if (!beneath && c->table.faces && facing(c, t) < -0.5)
        return STAYS;
    return !beneath ? GOES_WITH_TABLE : options->keep_beneath ? STAYS : GOES_BENEATH;
}

static void decide_triangles(const struct clearing *c, const struct clear_options *options,
                             uint8_t *fate)
{
    size_t triangles = mesh_triangles(c->mesh);
#pragma omp parallel for num_threads(job_threads(c->job)) schedule(static)
    for (size_t b = 0; b < triangles; b += BLOCK)
        for (size_t t = b; t < triangles && t < b + BLOCK && !job_cancelled(c->job); t++)
            fate[t] = (uint8_t)fate_of(c, options, t);
}

/* Steep triangles in the table's thickness that share an edge with one that stays are the lowest of
 * what stands on it. */
static void grow_down(const struct clearing *c, uint8_t *fate)
{
    const struct triangle *triangle = mesh_triangle(c->mesh);
    uint8_t *touched = c->stands; /* has served */
    size_t count = mesh_triangles(c->mesh);
    for (int i = 0; i < GROWTHS && c->table.faces; i++) {
        for (size_t t = 0; t < count && !stopped(c, t); t++)
            for (int k = 0; k < 3 && fate[t] == STAYS; k++)
                touched[triangle[t].v[k]] = 1;
        for (size_t t = 0; t < count && !stopped(c, t); t++) {
            const uint32_t *v = triangle[t].v;
            if (fate[t] == GOES_WITH_TABLE && touched[v[0]] + touched[v[1]] + touched[v[2]] >= 2 &&
                fabs(facing(c, t)) < 0.35)
                fate[t] = STAYS;
        }
    }
}

/* --- points ---------------------------------------------------------------------------------- */

static void decide_points(const struct clearing *c, const struct clear_options *options,
                          uint8_t *fate)
{
    for (size_t v = 0; v < mesh_vertices(c->mesh); v++)
        fate[v] = c->stands[v]               ? STAYS
                  : c->height[v] >= -c->high ? GOES_WITH_TABLE
                  : options->keep_beneath    ? STAYS
                                             : GOES_BENEATH;
}

/* --- taking away ----------------------------------------------------------------------------- */

static struct mesh *subset(const struct mesh *mesh, const uint8_t *keep, struct job *job)
{
    return mesh_triangles(mesh) ? mesh_subset(mesh, keep, job)
                                : mesh_subset_points(mesh, keep, job);
}

static void count_fates(const uint8_t *fate, size_t count, struct clear_report *report)
{
    for (size_t i = 0; i < count; i++) {
        report->table += fate[i] == GOES_WITH_TABLE;
        report->beneath += fate[i] == GOES_BENEATH;
        report->left += fate[i] == STAYS;
    }
}

static enum status take_away(const struct clearing *c, uint8_t *fate, size_t count,
                             struct mesh **out, struct mesh **taken)
{
    for (size_t i = 0; i < count; i++)
        fate[i] = fate[i] == STAYS;
    *out = subset(c->mesh, fate, c->job);
    for (size_t i = 0; i < count && taken; i++)
        fate[i] = !fate[i];
    if (*out && taken)
        *taken = subset(c->mesh, fate, c->job);
    if (*out && (!taken || *taken))
        return STATUS_OK;
    mesh_free(*out);
    *out = NULL;
    return job_status(c->job);
}

static enum status decide(struct clearing *c, const struct clear_options *options, uint8_t *fate,
                          size_t count, struct clear_report *report)
{
    enum status status =
        c->table.faces && mesh_triangles(c->mesh) ? clear_by_edges(c) : clear_by_places(c);
    if (status != STATUS_OK)
        return status;
    if (mesh_triangles(c->mesh)) {
        decide_triangles(c, options, fate);
        grow_down(c, fate);
    } else {
        decide_points(c, options, fate);
    }
    if (job_cancelled(c->job))
        return job_fail_cancelled(c->job);
    count_fates(fate, count, report);
    return report->left
               ? STATUS_OK
               : job_fail(c->job, STATUS_REFUSED,
                          "nothing stands higher than %.3g mm above the plane through %.4g, "
                          "%.4g, %.4g: all of it would go; \"close\" takes the piece away",
                          c->low, report->plane.through.x, report->plane.through.y,
                          report->plane.through.z);
}

static void describe(const struct clearing *c, struct clear_report *report)
{
    const struct table *table = &c->table;
    *report = (struct clear_report){
        .spread = table->spread, .bow = table->bow, .thickness = c->low, .share = table->share};
    report->plane = table->surface.plane;
    report->plane.through = mesh_world(c->mesh, report->plane.through);
}

static enum status clear(struct clearing *c, const struct clear_options *options, struct mesh **out,
                         struct mesh **taken, struct clear_report *report)
{
    size_t count = mesh_triangles(c->mesh) ? mesh_triangles(c->mesh) : mesh_vertices(c->mesh);
    enum status status = set_limits(c, options->thickness);
    if (status != STATUS_OK)
        return status;
    describe(c, report);
    job_phase(c->job, "taking the table away", 600, 0);
    uint8_t *fate = scratch_new(count, 1);
    status = fate ? measure(c) : job_fail_memory(c->job, count);
    if (status == STATUS_OK)
        status = decide(c, options, fate, count, report);
    if (status == STATUS_OK)
        status = take_away(c, fate, count, out, taken);
    scratch_free(fate);
    scratch_free(c->height);
    scratch_free(c->stands);
    return status;
}

enum status clear_table(const struct mesh *mesh, const struct clear_options *options,
                        struct mesh **out, struct mesh **taken, struct clear_report *report,
                        struct job *job)
{
    struct clearing c = {.mesh = mesh, .job = job};
    struct plane given;
    *out = NULL;
    if (taken)
        *taken = NULL;
    if (options->plane)
        given = (struct plane){mesh_local(mesh, options->plane->through),
                               vec_unit(options->plane->normal)};
    job_phase(job, "looking for the table", 400, 0);
    enum status status = table_find(mesh, options->plane ? &given : NULL, &c.table, job);
    return status == STATUS_OK ? clear(&c, options, out, taken, report) : status;
}
