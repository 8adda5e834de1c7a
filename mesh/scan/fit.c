#include "scan/fit.h"

#include "core/job.h"
#include "core/topology.h"
#include "scan/fit_look.h"

enum {
    COARSE_SAMPLES = 600,
    MIDDLE_SAMPLES = 4000,
    FINE_SAMPLES = 30000,
    JUDGE_SAMPLES = 10000,
    COARSE_ROUNDS = 40,
    MIDDLE_ROUNDS = 25,
    FINE_ROUNDS = 12,
    STARTS = 13
};
static const double level_share[PYRAMID_MOST - 1] = {1 / 40.0, 1 / 110.0}; /* of the size */
/* What a fit may be taken for right by; where it came to lie beside the right place one of these is
 * less, or flat faces hide it. */
static const double sure_agreement = 0.98, sure_overlap = 0.15, sure_facets = 0.6;
static const double holds_from = 0.95; /* agreement at which a coarse fit has got hold */

/* --- pyramids -------------------------------------------------------------------------------- */

enum status pyramid_make(const struct mesh *mesh, const double spacing[PYRAMID_MOST - 1],
                         struct pyramid *out, struct job *job)
{
    struct surfels all;
    *out = (struct pyramid){.levels = 0};
    enum status status = surfels_make(mesh, &all, job);
    if (status != STATUS_OK)
        return status;
    for (int i = 0; i < PYRAMID_MOST - 1 && status == STATUS_OK; i++)
        if (spacing[i] > 1.3 * all.spacing) {
            status = surfels_thin(&all, spacing[i], 1, &out->level[out->levels], job);
            out->levels += status == STATUS_OK;
        }
    if (status != STATUS_OK) {
        surfels_release(&all);
        pyramid_release(out);
        return status;
    }
    out->level[out->levels++] = all;
    return STATUS_OK;
}

void pyramid_release(struct pyramid *pyramid)
{
    for (int i = 0; i < pyramid->levels; i++)
        surfels_release(&pyramid->level[i]);
    pyramid->levels = 0;
}

double fit_tolerance(const struct surfels *a, const struct surfels *b)
{
    double blur = sqrt((a->blur * a->blur + b->blur * b->blur) / 2);
    return fmax(3 * blur, 0.3 * fmax(a->spacing, b->spacing));
}

/* --- levels ---------------------------------------------------------------------------------- */

/* The level of a pyramid that goes with level i of `levels`, counted from the finest. */
static const struct surfels *level_of(const struct pyramid *pyramid, int from_finest)
{
    int i = pyramid->levels - 1 - from_finest;
    return &pyramid->level[i > 0 ? i : 0];
}

static enum status run_level(const struct surfels *moving, const struct surfels *fixed,
                             const struct icp_rule *rule, struct rigid *pose, struct job *job)
{
    struct links links;
    enum status status = links_make(moving, rule->samples, &links, job);
    if (status != STATUS_OK)
        return status;
    status = icp_run(moving, fixed, rule, &links, pose, job);
    links_release(&links);
    return status == STATUS_CANCELLED ? job_fail_cancelled(job) : status;
}

static enum status judge(const struct surfels *moving, const struct surfels *fixed,
                         const struct rigid *pose, double tolerance, size_t samples,
                         struct touch *touch, struct job *job)
{
    struct links links;
    enum status status = links_make(moving, samples, &links, job);
    if (status != STATUS_OK)
        return status;
    double reach = fmax(10 * tolerance, 3 * fixed->spacing);
    links_find(&links, moving, fixed, pose, reach, job_threads(job));
    links_judge(&links, moving, fixed, pose, tolerance, touch);
    links_release(&links);
    return STATUS_OK;
}

enum status fit_levels(const struct pyramid *moving, const struct pyramid *fixed, double reach,
                       struct rigid *pose, struct job *job)
{
    static const size_t samples[] = {FINE_SAMPLES, MIDDLE_SAMPLES, COARSE_SAMPLES};
    static const int rounds[] = {FINE_ROUNDS, MIDDLE_ROUNDS, COARSE_ROUNDS};
    int levels = moving->levels > fixed->levels ? moving->levels : fixed->levels;
    enum status status = STATUS_OK;
    for (int i = levels - 1; i >= 0 && status == STATUS_OK; i--) {
        const struct surfels *a = level_of(moving, i), *b = level_of(fixed, i);
        double spacing = fmax(a->spacing, b->spacing);
        struct icp_rule rule = {.samples = samples[i], .reach = reach, .rounds = rounds[i]};
        rule.still = spacing * (i ? 0.01 : 0.0005);
        rule.threads = job_threads(job);
        rule.within = i ? 0 : spacing;
        status = run_level(a, b, &rule, pose, job);
        reach = fmin(reach, 4 * spacing);
    }
    return status;
}

/* --- starts ---------------------------------------------------------------------------------- */

/* The i-th start: the present pose; then turned by 15 and 30 degrees about the moving piece's
 * middle, about x, y and z both ways. */
static struct rigid start_of(const struct rigid *present, int i)
{
    const double step = 3.14159265358979323846 / 12;
    if (i == 0)
        return *present;
    int axis = (i - 1) % 3, way = (i - 1) / 3 % 2, far = (i - 1) / 6;
    double angle = step * (1 + far) * (way ? -1 : 1);
    struct rigid turn =
        rigid_turn(vec(axis == 0 ? angle : 0, axis == 1 ? angle : 0, axis == 2 ? angle : 0));
    return rigid_then(&turn, present);
}

/* The coarse fit from the present pose, or, if it does not get hold, the best of all starts. */
static enum status find_start(const struct surfels *moving, const struct surfels *fixed,
                              double reach, struct rigid *pose, struct job *job)
{
    struct icp_rule rule = {COARSE_SAMPLES, reach, 0.01 * moving->spacing, COARSE_ROUNDS, 1, 0};
    struct rigid best = *pose;
    double most = -1, tolerance = fit_tolerance(moving, fixed);
    for (int i = 0; i < STARTS; i++) {
        struct rigid trial = start_of(pose, i);
        struct touch touch;
        enum status status = run_level(moving, fixed, &rule, &trial, job);
        if (status == STATUS_OK)
            status = judge(moving, fixed, &trial, tolerance, COARSE_SAMPLES, &touch, job);
        if (status != STATUS_OK)
            return status;
        double worth = touch.agreement * touch.overlap;
        if (worth > most * (i ? 1.1 : 1)) {
            most = worth;
            best = trial;
        }
        struct slide slide; /* faces may slide on each other into what only seems to fit */
        slide_find(&touch, &slide);
        if (i == 0 && touch.agreement > holds_from && touch.overlap > 0.15 && !slide.free)
            break;
    }
    *pose = best;
    return STATUS_OK;
}

/* --- a pair ---------------------------------------------------------------------------------- */

static enum status refuse_apart(const struct pyramid *moving, const struct pyramid *fixed,
                                struct job *job)
{
    if (surfels_count(pyramid_finest(moving)) < 12 || surfels_count(pyramid_finest(fixed)) < 12)
        return job_fail(job, STATUS_REFUSED,
                        "the %s piece has too little surface to fit by (%zu points that know which "
                        "way they face); choose another",
                        surfels_count(pyramid_finest(moving)) < 12 ? "moving" : "fixed",
                        surfels_count(pyramid_finest(moving)) < 12
                            ? surfels_count(pyramid_finest(moving))
                            : surfels_count(pyramid_finest(fixed)));
    return job_fail(job, STATUS_REFUSED,
                    "the two pieces do not lie on each other anywhere near this pose; bring them "
                    "together with \"pairs\" first, or use \"align\"");
}

/* How the finest levels lie on each other at the pose. */
static enum status measure(const struct pyramid *moving, const struct pyramid *fixed,
                           const struct rigid *pose, struct fit *out, struct job *job)
{
    const struct surfels *a = pyramid_finest(moving), *b = pyramid_finest(fixed);
    out->tolerance = fit_tolerance(a, b);
    enum status status = judge(a, b, pose, out->tolerance, JUDGE_SAMPLES, &out->touch, job);
    if (status != STATUS_OK)
        return status;
    slide_find(&out->touch, &out->slide);
    out->motion = rigid_in_world(pose, a->middle, b->middle);
    return STATUS_OK;
}

static bool is_sure(const struct touch *touch)
{
    return touch->agreement >= sure_agreement && touch->overlap >= sure_overlap &&
           touch->facets <= sure_facets;
}

static enum status look_again(const struct pyramid *moving, const struct pyramid *fixed,
                              const struct rigid *present, struct rigid *pose, struct fit *out,
                              struct job *job)
{
    job_phase(job, "looking around", 300, 0);
    enum status status =
        fit_look(pyramid_finest(moving), pyramid_finest(fixed), present, pose, &out->misses, job);
    if (status == STATUS_OK)
        status = fit_levels(moving, fixed, fixed->level[0].spacing, pose, job);
    return status == STATUS_OK ? measure(moving, fixed, pose, out, job) : status;
}

static enum status fit_pyramids(const struct pyramid *moving, const struct pyramid *fixed,
                                struct fit *out, struct job *job)
{
    const struct surfels *a = pyramid_finest(moving), *b = pyramid_finest(fixed);
    if (surfels_count(a) < 12 || surfels_count(b) < 12)
        return refuse_apart(moving, fixed, job);
    double reach = 0.25 * fmin(a->size, b->size);
    struct rigid pose = rigid_rest();
    pose.shift = vec_sub(a->middle, b->middle);
    const struct rigid present = pose;
    out->misses = -1;
    enum status status = find_start(&moving->level[0], &fixed->level[0], reach, &pose, job);
    if (status == STATUS_OK)
        status = fit_levels(moving, fixed, 4 * moving->level[0].spacing, &pose, job);
    if (status == STATUS_OK)
        status = measure(moving, fixed, &pose, out, job);
    if (status == STATUS_OK && !is_sure(&out->touch))
        status = look_again(moving, fixed, &present, &pose, out, job);
    if (status != STATUS_OK)
        return status;
    if (out->touch.overlap * (double)surfels_count(a) < 12)
        return refuse_apart(moving, fixed, job);
    return STATUS_OK;
}

enum status fit_find(const struct mesh *moving, const struct mesh *fixed, struct fit *out,
                     struct job *job)
{
    struct pyramid a = {.levels = 0}, b = {.levels = 0};
    const struct bounds *box[2] = {mesh_bounds(moving, job), mesh_bounds(fixed, job)};
    if (!box[0] || !box[1])
        return job_status(job);
    double size = fmin(vec_length(box[0]->size), vec_length(box[1]->size));
    const double spacing[PYRAMID_MOST - 1] = {size * level_share[0], size * level_share[1]};
    job_phase(job, "reading the surfaces", 400, 0);
    enum status status = pyramid_make(moving, spacing, &a, job);
    if (status == STATUS_OK)
        status = pyramid_make(fixed, spacing, &b, job);
    job_phase(job, "fitting", 300, 0);
    if (status == STATUS_OK)
        status = fit_pyramids(&a, &b, out, job);
    pyramid_release(&a);
    pyramid_release(&b);
    return status;
}
