#include "solid/offset_parts.h"

#include <stdlib.h>

#include "core/mass.h"
#include "core/topology.h"
#include "solid/needles.h"

enum { ROUNDS_MOST = 40, LEVELS_MOST = 2 };

/* Of the spacing: this share of the distance (an arc of that radius is then met within 4 % of it),
 * but so fine that there are some triangles, and so coarse that there are not too many. */
static const double of_distance = 0.4, triangles_some = 5e4, triangles_most = 1e6,
                    triangles_bearable = 1e8, triangles_fine = 4e6; /* of the fine net */

/* A surface meets 1.5 cells an area of one (the mean over all directions of |x| + |y| + |z|), each
 * a vertex and two triangles. */
static const double triangles_of_cell = 3;

static const double thinned_most = 0.1; /* mm: about what printers do */
static const double allowed = 0.04,     /* of the distance: so much farther off is as good */
    worth = 0.06;                       /* of the distance: a grid so fine need not be finer */

/* --- the spacing ----------------------------------------------------------------------------- */

static enum status choose_spacing(const struct mesh *mesh, const struct offset_options *options,
                                  double *out, double *area_out, struct job *job)
{
    struct moments solid = {0}, surface = {0};
    enum status status = mesh_moments(mesh, vec(0, 0, 0), &solid, &surface, job);
    if (status != STATUS_OK)
        return status;
    double area = *area_out = mass_of(&surface, MASS_SURFACE, vec(0, 0, 0)).amount;
    *out = fmin(of_distance * options->by, sqrt(triangles_of_cell * area / triangles_some));
    *out = fmax(*out, sqrt(triangles_of_cell * area / triangles_most));
    if (options->spacing > 0)
        *out = options->spacing;
    double finest = sqrt(triangles_of_cell * area / triangles_bearable);
    if (*out < finest)
        return job_fail(job, STATUS_REFUSED,
                        "a spacing of %.3g mm is too fine for this size; choose %.3g mm or more",
                        *out, finest);
    return STATUS_OK;
}

/* --- all ------------------------------------------------------------------------------------- */

/* *good: false when a finer grid would do better, and it is asked to stop then. */
static enum status find_surface(struct offsetting *o, bool *good)
{
    for (int round = 0;; round++) {
        bool any = false;
        enum status status = offset_net(o);
        *good = !o->strict || !o->wanting;
        if (status == STATUS_OK && *good)
            status = offset_wrong(o, round, &any);
        *good = *good && !(o->strict && any);
        if (status == STATUS_OK && *good && any && round == ROUNDS_MOST)
            status = job_fail(o->job, STATUS_REFUSED,
                              "no surface that does not cross itself was found at a spacing of "
                              "%.3g mm; choose another spacing=",
                              o->report->spacing);
        if (status != STATUS_OK || !any || !*good)
            return status;
    }
}

static bool is_far_enough(const void *context, struct vec now[2][3])
{
    return offset_short_of(context, now[0]) <= 0 && offset_short_of(context, now[1]) <= 0;
}

/* Vertices may lie on one line where the surface is flat: triangles of such would turn over when
 * the solid is moved about. */
static enum status turn_needles(struct offsetting *o)
{
    struct mesh *without;
    enum status status = needles_flip(o->mesh, is_far_enough, o, &without, o->job);
    if (without) {
        mesh_free(o->mesh);
        o->mesh = without;
    }
    return status;
}

static void release_net(struct offsetting *o)
{
    mesh_free(o->mesh);
    array_free(o->level);
    scratch_free(o->cluster);
    scratch_free(o->next);
    scratch_free(o->turned);
    scratch_free(o->first);
    scratch_free(o->spot);
    net_release(&o->fine);
    net_release(&o->net);
    grid_release(&o->grid);
    o->mesh = NULL;
    o->level = NULL;
    o->cluster = o->next = o->first = NULL;
    o->turned = NULL;
    o->spot = NULL;
}

static enum status make_provers(struct offsetting *o)
{
    int threads = job_threads(o->job);
    o->prover = calloc((size_t)threads + 1, sizeof *o->prover);
    if (!o->prover)
        return job_fail_memory(o->job, (size_t)threads * sizeof *o->prover);
    for (int i = 0; i < threads; i++)
        if (!(o->prover[i] = prover_new(o->solid, o->job)))
            return job_status(o->job);
    return STATUS_OK;
}

static void release_provers(struct offsetting *o)
{
    for (size_t i = 0; o->prover && o->prover[i]; i++)
        prover_free(o->prover[i]);
    free(o->prover);
}

/* How many times the grid may be halved beside the spacing, and is worth it. */
static int levels_for(const struct offset_report *report, double by, double area)
{
    int levels = 0;
    double fine = report->spacing;
    while (levels < LEVELS_MOST && fine > worth * by &&
           triangles_of_cell * area / (fine * fine) < triangles_fine / 4) {
        fine /= 2;
        levels++;
    }
    return levels;
}

/* On a grid of the spacing, or so many times halved. */
static enum status attempt(struct offsetting *o, int levels, bool strict, bool *good)
{
    o->levels = levels;
    o->report->cell = o->report->spacing / (1 << levels);
    o->strict = strict;
    o->dirty = true;
    o->share = strict ? 200 : levels ? 300 : 600;
    enum status status = offset_grid(o, o->report->spacing / (1 << levels));
    return status == STATUS_OK ? find_surface(o, good) : status;
}

enum status offset_surface(const struct mesh *mesh, const struct offset_options *options,
                           struct mesh **out, struct offset_report *report, struct job *job)
{
    struct offsetting o = {.solid = mesh, .report = report, .job = job};
    double area = 0;
    bool good = false;
    *report = (struct offset_report){0};
    o.field = (struct field){mesh_tree(mesh, job), options->by, options->inward ? -1 : 1};
    o.allowed = fmax(allowed * options->by, OFFSET_SLACK);
    o.thinned = options->hidden ? fmin(o.allowed, thinned_most) : OFFSET_SLACK / 2;
    enum status status = o.field.tree ? STATUS_OK : job_status(job);
    if (status == STATUS_OK)
        status = choose_spacing(mesh, options, &report->spacing, &area, job);
    if (status == STATUS_OK)
        status = make_provers(&o);
    int levels = status == STATUS_OK ? levels_for(report, options->by, area) : 0;
    if (status == STATUS_OK)
        status = attempt(&o, 0, levels > 0, &good);
    if (status == STATUS_OK && !good) {
        release_net(&o);
        status = attempt(&o, levels, false, &good);
    }
    if (status == STATUS_OK)
        status = offset_thin(&o);
    if (status == STATUS_OK)
        status = turn_needles(&o);
    if (status == STATUS_OK)
        status = offset_measure(&o);
    if (status == STATUS_OK) {
        *out = o.mesh;
        o.mesh = NULL;
    }
    release_net(&o);
    release_provers(&o);
    return status;
}
