#include "scan/odd.h"

#include <string.h>

#include "core/job.h"

enum { PLACES = 250, GUESSES = 16, SAMPLES = 800, FINE_SAMPLES = 4000, ROUNDS = 14 };
static const double fits_from = 0.85, share_from = 0.15; /* agreement; overlap */
static const double faceted_from = 0.6;  /* flat faces lie on each other at many scales */
static const double strays_by = 1.15;    /* from the guess at the scale */
static const double other_scale = 0.004; /* off 1: less is not named */

/* --- changed copies -------------------------------------------------------------------------- */

/* Sets the points of a copy to those of the original, scaled, or mirrored in x. */
static void set_points(const struct surfels *from, struct vec by, struct surfels *to)
{
    for (size_t i = 0; i < surfels_count(from); i++) {
        struct vec p = surfels_at(from, i);
        mesh_point_edit(to->cloud)[i] = vec_point(vec(by.x * p.x, by.y * p.y, by.z * p.z));
        to->normal[i] = from->normal[i];
        if (by.x < 0)
            to->normal[i].x = -to->normal[i].x;
    }
    double scale = fabs(by.y);
    to->size = scale * from->size;
    to->spacing = scale * from->spacing;
    to->blur = scale * from->blur;
}

/* A copy with points of its own and no tree: it can only move, not be moved onto. */
static enum status copy_loose(const struct surfels *from, struct surfels *out, struct job *job)
{
    size_t count = surfels_count(from);
    *out = *from;
    out->tree = NULL;
    out->cloud = mesh_new(count, 0);
    out->normal = scratch_new(count, sizeof *out->normal);
    if (out->cloud && out->normal) {
        set_points(from, vec(1, 1, 1), out);
        return STATUS_OK;
    }
    surfels_release(out);
    return job_fail_memory(job, 2 * count * sizeof(struct point));
}

static enum status copy_changed(const struct surfels *from, struct vec by, struct surfels *out,
                                struct job *job)
{
    enum status status = copy_loose(from, out, job);
    if (status != STATUS_OK)
        return status;
    set_points(from, by, out);
    out->tree = mesh_tree(out->cloud, job);
    if (out->tree)
        return STATUS_OK;
    surfels_release(out);
    return job_status(job);
}

/* --- best fit that may scale -------------------------------------------------------------------
 */

struct scaled_fit {
    const struct surfels *moving, *fixed;
    struct surfels *loose; /* a copy of moving, scaled as the fit goes on */
    struct links *links;
    struct rigid pose;
    double scale;
    struct touch touch;
};

/* Solves the n equations by elimination with pivots; false when they are singular. */
static bool solve(int n, double a[7][8])
{
    for (int i = 0; i < n; i++) {
        int pivot = i;
        for (int r = i + 1; r < n; r++)
            pivot = fabs(a[r][i]) > fabs(a[pivot][i]) ? r : pivot;
        if (!(fabs(a[pivot][i]) > 0))
            return false;
        for (int k = 0; k <= n; k++) {
            double t = a[i][k];
            a[i][k] = a[pivot][k];
            a[pivot][k] = t;
        }
        for (int r = 0; r < n; r++) {
            double f = r == i ? 0 : a[r][i] / a[i][i];
            for (int k = i; k <= n; k++)
                a[r][k] -= f * a[i][k];
        }
    }
    for (int i = 0; i < n; i++)
        a[i][n] /= a[i][i];
    return true;
}

/* Adds a link's equation to the sums: turns and scale about `middle`. */
static void add_link(const struct scaled_fit *fit, const struct link *link, struct vec middle,
                     double a[7][8])
{
    struct vec p = rigid_apply(&fit->pose, surfels_at(fit->loose, link->from));
    struct vec q = surfels_at(fit->fixed, link->to);
    struct vec n = rigid_direction(&fit->pose, surfels_normal(fit->loose, link->from));
    n = vec_scale(vec_add(n, surfels_normal(fit->fixed, link->to)), 0.5);
    struct vec arm = vec_sub(vec_scale(vec_add(p, q), 0.5), middle), turn = vec_cross(arm, n);
    const double row[8] = {turn.x, turn.y, turn.z,          n.x,
                           n.y,    n.z,    vec_dot(arm, n), -vec_dot(vec_sub(p, q), n)};
    for (int i = 0; i < 7; i++)
        for (int j = 0; j < 8; j++)
            a[i][j] += row[i] * row[j];
}

static bool scaled_step(struct scaled_fit *fit, double limit)
{
    double a[7][8] = {{0}};
    struct vec middle = fit->pose.shift; /* where the moving one's zero is */
    for (size_t i = 0; i < fit->links->count; i++) {
        const struct link *link = &fit->links->link[i];
        if (link->kind == LINK_FACING && fabs((double)link->distance) <= limit)
            add_link(fit, link, middle, a);
    }
    for (int i = 0; i < 7; i++)
        a[i][i] *= 1 + 1e-9;
    if (!solve(7, a))
        return false;
    double grow = fmin(fmax(a[6][7], -0.05), 0.05);
    struct rigid by = rigid_turn(vec(a[0][7], a[1][7], a[2][7]));
    struct vec shift = fit->pose.shift;
    fit->pose.shift = vec(0, 0, 0);
    fit->pose = rigid_then(&fit->pose, &by);
    fit->pose = rigid_tidy(&fit->pose);
    fit->pose.shift = vec_add(shift, vec(a[3][7], a[4][7], a[5][7]));
    fit->scale *= 1 + grow;
    set_points(fit->moving, vec(fit->scale, fit->scale, fit->scale), fit->loose);
    return true;
}

static void run_scaled(struct scaled_fit *fit, double reach, double tolerance, struct job *job)
{
    int threads = job_threads(job);
    set_points(fit->moving, vec(fit->scale, fit->scale, fit->scale), fit->loose);
    for (int round = 0; round < ROUNDS && !job_cancelled(job); round++) {
        links_find(fit->links, fit->loose, fit->fixed, &fit->pose, reach, threads);
        if (!scaled_step(fit, fmax(links_limit(fit->links), 0.5 * tolerance)))
            return;
    }
    links_find(fit->links, fit->loose, fit->fixed, &fit->pose, reach, threads);
    links_judge(fit->links, fit->loose, fit->fixed, &fit->pose, tolerance, &fit->touch);
}

/* Fits with scale from a pose and a scale; what it comes to is in *fit. */
static enum status fit_scaled(const struct surfels *moving, const struct surfels *fixed,
                              size_t samples, double reach, struct scaled_fit *fit, struct job *job)
{
    struct surfels loose;
    struct links links;
    enum status status = copy_loose(moving, &loose, job);
    if (status != STATUS_OK)
        return status;
    status = links_make(moving, samples, &links, job);
    if (status == STATUS_OK) {
        fit->moving = moving;
        fit->fixed = fixed;
        fit->loose = &loose;
        fit->links = &links;
        run_scaled(fit, reach, fit_tolerance(moving, fixed), job);
        links_release(&links);
    }
    surfels_release(&loose);
    return status;
}

static bool fits(const struct touch *touch)
{
    struct slide slide;
    slide_find(touch, &slide);
    return touch->agreement >= fits_from && touch->overlap >= share_from && !slide.free &&
           touch->facets < faceted_from;
}

/* --- scales ---------------------------------------------------------------------------------- */

/* The scale found from one guess at it (the piece is scaled by that already): near, then exactly.
 */
static enum status try_guess(const struct scan *moving, const struct scan *model,
                             const struct rigid *guess, double *scale, struct job *job)
{
    const struct surfels *a = &moving->thin[0], *b = &model->thin[0];
    struct scaled_fit fit = {.pose = *guess, .scale = 1};
    *scale = 0;
    enum status status = fit_scaled(a, b, SAMPLES, 4 * b->spacing, &fit, job);
    if (status != STATUS_OK || !fits(&fit.touch))
        return status;
    status = fit_scaled(moving->full, model->full, FINE_SAMPLES, 2 * b->spacing, &fit, job);
    bool near = fit.scale < strays_by && fit.scale > 1 / strays_by;
    if (status == STATUS_OK && near && fits(&fit.touch))
        *scale = fit.scale;
    return status;
}

static enum status try_scale(const struct surfels *piece, const struct scan *model, double by,
                             const double radius[SCALES], double *scale, struct job *job)
{
    static const struct pairing_rule rule = {PLACES, GUESSES, false, NULL};
    struct surfels scaled;
    struct scan moving = {.full = NULL};
    struct guess guess[GUESSES];
    size_t count = 0;
    *scale = 0;
    enum status status = copy_changed(piece, vec(by, by, by), &scaled, job);
    if (status != STATUS_OK)
        return status;
    status = scan_make(&scaled, radius, &moving, job);
    if (status == STATUS_OK)
        status = pairing_guess(&moving, model, &rule, guess, &count, job);
    for (size_t i = 0; i < count && status == STATUS_OK && *scale == 0; i++)
        status = job_cancelled(job) ? job_fail_cancelled(job)
                                    : try_guess(&moving, model, &guess[i].motion, scale, job);
    *scale *= by;
    scan_release(&moving);
    surfels_release(&scaled);
    return status;
}

/* The ratio of units that the scale is within a thousandth of, or the scale itself. */
static double rounded(double scale, const double *ratio, size_t count)
{
    for (size_t i = 0; i < count; i++)
        if (fabs(scale / ratio[i] - 1) < 1e-3)
            return ratio[i];
    return scale;
}

static enum status try_scales(const struct surfels *piece, const struct scan *model, double size,
                              const double radius[SCALES], double *found, struct job *job)
{
    static const double ratio[] = {25.4,      1 / 25.4, 10,       0.1,  1000,     0.001, 304.8,
                                   1 / 304.8, 2.54,     1 / 2.54, 12,   1 / 12.0, 100,   0.01,
                                   1,         1.19,     0.84,     1.41, 0.71,     1.68,  0.6};
    enum { COUNT = sizeof ratio / sizeof *ratio, UNITS = COUNT - 7 };
    enum status status = STATUS_OK;
    *found = 0;
    for (size_t i = 0; i < COUNT && status == STATUS_OK && *found == 0; i++) {
        double scaled = ratio[i] * piece->size;
        if (scaled > 0.35 * size && scaled < 3 * size)
            status = try_scale(piece, model, ratio[i], radius, found, job);
    }
    *found = fabs(*found - 1) < other_scale ? 0 : rounded(*found, ratio, UNITS);
    return status;
}

/* --- all of it ------------------------------------------------------------------------------- */

static enum status try_mirrored(const struct surfels *piece, const struct scan *model,
                                const double radius[SCALES], bool *fits_mirrored, struct job *job)
{
    static const struct pairing_rule rule = {PLACES, 2 * GUESSES, false, NULL};
    struct surfels mirrored;
    struct scan moving = {.full = NULL};
    struct pairing pairing = {.verdict = PAIR_APART};
    enum status status = copy_changed(piece, vec(-1, 1, 1), &mirrored, job);
    if (status != STATUS_OK)
        return status;
    status = scan_make(&mirrored, radius, &moving, job);
    if (status == STATUS_OK)
        status = pairing_find(&moving, model, &rule, &pairing, job);
    *fits_mirrored = pairing.verdict == PAIR_HOLDS;
    scan_release(&moving);
    surfels_release(&mirrored);
    return status;
}

enum status odd_find(const struct surfels *piece, const struct scan *model, double size,
                     const double radius[SCALES], struct odd *out, struct job *job)
{
    *out = (struct odd){.mirrored = false};
    enum status status = STATUS_OK;
    if (piece->size > 0.35 * size && piece->size < 3 * size)
        status = try_mirrored(piece, model, radius, &out->mirrored, job);
    if (status == STATUS_OK && !out->mirrored)
        status = try_scales(piece, model, size, radius, &out->scale, job);
    return status;
}
