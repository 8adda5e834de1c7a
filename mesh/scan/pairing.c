#include "scan/pairing.h"

#include <stdlib.h>

#include "core/job.h"

enum {
    COARSE_SAMPLES = 500,
    COARSE_ROUNDS = 15,
    FINE_SAMPLES = 4000,
    FINE_ROUNDS = 10,
    FINALISTS = 8,
    THIN_PER_RADIUS = 8
};
static const double agree_from = 0.75; /* of the facing surface within the tolerance */
static const double share_from = 0.02, points_from = 150;     /* of the moving scan, that agree */
static const double rival_agrees = 0.9, rival_overlaps = 0.3; /* beside the best pose */
static const double seen_below = 0.04,
                    unseen_above = 0.1; /* misses: as it should be; a contradiction */
static const double faceted_from = 0.6;
static const double held_from = 0.05; /* mm of distance for a mm of the motion held least */

const char *pair_words(enum pair_verdict verdict)
{
    static const char *const words[] = {
#define PAIR(symbol, words) words,
#include "scan/pairing.def"
#undef PAIR
    };
    return words[verdict];
}

/* --- making ready ---------------------------------------------------------------------------- */

enum status scan_make(const struct surfels *full, const double radius[SCALES], struct scan *out,
                      struct job *job)
{
    *out = (struct scan){.full = full};
    enum status status = STATUS_OK;
    for (int i = 0; i < SCALES && status == STATUS_OK; i++) {
        double spacing = fmax(radius[i] / THIN_PER_RADIUS, full->spacing);
        status = surfels_thin(full, spacing, 1, &out->thin[i], job);
        if (status == STATUS_OK)
            status = lands_make(&out->thin[i], radius[i], &out->lands[i], job);
    }
    if (status == STATUS_OK)
        status = camera_find(&out->thin[0], &out->camera, job);
    if (status != STATUS_OK)
        scan_release(out);
    return status;
}

void scan_release(struct scan *scan)
{
    for (int i = 0; i < SCALES; i++) {
        surfels_release(&scan->thin[i]);
        lands_release(&scan->lands[i]);
    }
    camera_release(&scan->camera);
}

/* --- trying poses ---------------------------------------------------------------------------- */

struct trial {
    struct rigid pose;
    struct touch touch;
    double worth, misses;
    enum status status;
};

/* What speaks for a pose: the surface that agrees, less where what faces it does not. */
static double worth_of(const struct touch *touch)
{
    return touch->overlap * touch->agreement * touch->agreement;
}

static enum status try_pose(const struct surfels *moving, const struct surfels *fixed,
                            const struct icp_rule *rule, double tolerance, struct trial *trial,
                            struct job *job)
{
    struct links links;
    enum status status = links_make(moving, rule->samples, &links, job);
    if (status != STATUS_OK)
        return status;
    status = icp_run(moving, fixed, rule, &links, &trial->pose, job);
    double reach = fmax(10 * tolerance, 3 * fixed->spacing);
    links_find(&links, moving, fixed, &trial->pose, reach, rule->threads);
    links_judge(&links, moving, fixed, &trial->pose, tolerance, &trial->touch);
    trial->worth = worth_of(&trial->touch);
    links_release(&links);
    return status;
}

static enum status try_all(const struct surfels *moving, const struct surfels *fixed,
                           const struct icp_rule *rule, struct trial *trial, size_t count,
                           struct job *job)
{
    double tolerance = fit_tolerance(moving, fixed);
#pragma omp parallel for num_threads(job_threads(job)) schedule(dynamic)
    for (size_t i = 0; i < count; i++)
        if (!job_cancelled(job))
            trial[i].status = try_pose(moving, fixed, rule, tolerance, &trial[i], NULL);
    if (job_cancelled(job))
        return job_fail_cancelled(job);
    for (size_t i = 0; i < count; i++)
        if (trial[i].status != STATUS_OK)
            return job_fail_memory(job, rule->samples * sizeof(struct link));
    return STATUS_OK;
}

static int by_worth(const void *a, const void *b)
{
    const struct trial *x = a, *y = b;
    return (x->worth < y->worth) - (x->worth > y->worth);
}

/* Whether two poses put the moving scan to different places. */
static bool differ(const struct trial *a, const struct trial *b, const struct surfels *moving)
{
    double far = 0.02 * moving->size;
    struct rigid back = rigid_inverse(&a->pose);
    struct vec at = rigid_apply(&back, a->touch.middle);
    struct vec off = vec_sub(rigid_apply(&a->pose, at), rigid_apply(&b->pose, at));
    return vec_length(off) > far || rigid_angle(&a->pose, &b->pose) > 0.09;
}

/* Leaves the best of poses that are much the same; returns how many are left. */
static size_t leave_different(struct trial *trial, size_t count, size_t most,
                              const struct surfels *moving)
{
    size_t left = 0;
    qsort(trial, count, sizeof *trial, by_worth);
    for (size_t i = 0; i < count && left < most; i++) {
        bool known = false;
        for (size_t k = 0; k < left && !known; k++)
            known = !differ(&trial[k], &trial[i], moving);
        if (!known)
            trial[left++] = trial[i];
    }
    return left;
}

/* --- the verdict ----------------------------------------------------------------------------- */

/* The greater share that one camera misses of the other scan. */
static double misses_of(const struct scan *moving, const struct scan *fixed,
                        const struct rigid *pose)
{
    double misses = -1;
    struct rigid back = rigid_inverse(pose);
    if (fixed->camera.single)
        misses = camera_misses(&fixed->camera, &moving->thin[0], pose);
    if (moving->camera.single)
        misses = fmax(misses, camera_misses(&moving->camera, &fixed->thin[0], &back));
    return misses;
}

/* Brings what the cameras say into the poses' worth. */
static void weigh_misses(const struct scan *moving, const struct scan *fixed, struct trial *trial,
                         size_t count, int threads)
{
#pragma omp parallel for num_threads(threads) schedule(dynamic)
    for (size_t i = 0; i < count; i++) {
        trial[i].misses = misses_of(moving, fixed, &trial[i].pose);
        trial[i].worth = worth_of(&trial[i].touch) / (1 + 10 * fmax(0, trial[i].misses));
    }
}

/* Whether another pose could be meant as well as the best: the surfaces agree there too, and the
 * cameras do not speak against it. */
static bool is_rival(const struct trial *best, const struct trial *other, double spacing)
{
    if (other->touch.rms > 2 * best->touch.rms + 0.02 * spacing ||
        other->touch.agreement < rival_agrees * best->touch.agreement ||
        other->touch.overlap < rival_overlaps * best->touch.overlap)
        return false;
    bool unseen = best->misses >= 0 && best->misses < seen_below &&
                  other->misses > unseen_above + best->misses;
    return !unseen;
}

static enum pair_verdict verdict_of(const struct pairing *pairing, size_t points, bool rivalled)
{
    const struct touch *touch = &pairing->touch;
    if (touch->overlap < share_from || touch->overlap * (double)points < points_from)
        return PAIR_THIN;
    if (touch->agreement < agree_from)
        return PAIR_DOUBTFUL;
    if (pairing->slide.free || pairing->slide.weakest < held_from)
        return PAIR_SLIDES;
    if (rivalled)
        return PAIR_AMBIGUOUS;
    bool seen = pairing->misses >= 0 && pairing->misses < seen_below;
    return pairing->facets > faceted_from && !seen ? PAIR_PLAIN : PAIR_HOLDS;
}

static void settle(const struct scan *moving, const struct trial *trial, size_t count,
                   struct pairing *out)
{
    bool rivalled = false;
    for (size_t i = 1; i < count; i++)
        rivalled = rivalled || is_rival(&trial[0], &trial[i], moving->full->spacing);
    out->pose = trial[0].pose;
    out->touch = trial[0].touch;
    out->misses = trial[0].misses;
    out->facets = trial[0].touch.facets;
    slide_find(&out->touch, &out->slide);
    out->verdict = verdict_of(out, surfels_count(moving->full), rivalled);
}

enum status pairing_judge(const struct scan *moving, const struct scan *fixed,
                          struct pairing *pairing, struct job *job)
{
    struct icp_rule rule = {FINE_SAMPLES, 0, 0, 0, job_threads(job)};
    struct trial trial = {.pose = pairing->pose};
    double tolerance = fit_tolerance(moving->full, fixed->full);
    enum status status = try_pose(moving->full, fixed->full, &rule, tolerance, &trial, job);
    if (status != STATUS_OK)
        return status;
    weigh_misses(moving, fixed, &trial, 1, 1);
    settle(moving, &trial, 1, pairing);
    return STATUS_OK;
}

/* --- finding --------------------------------------------------------------------------------- */

enum status pairing_guess(const struct scan *moving, const struct scan *fixed,
                          const struct pairing_rule *rule, struct guess *guess, size_t *count,
                          struct job *job)
{
    struct matches matches = {0};
    enum status status = STATUS_OK;
    for (int i = 0; i < SCALES && status == STATUS_OK; i++)
        status = matches_add(&moving->lands[i], &fixed->lands[i], rule->places, &matches, job);
    *count = status == STATUS_OK ? matches_group(&matches, rule->guesses, guess, job) : 0;
    matches_release(&matches);
    if (*count != SIZE_MAX)
        return status;
    *count = 0;
    return job_status(job);
}

static enum status guess_poses(const struct scan *moving, const struct scan *fixed,
                               const struct pairing_rule *rule, struct trial *trial, size_t *count,
                               struct job *job)
{
    struct guess guess[GUESSES_MOST];
    enum status status = pairing_guess(moving, fixed, rule, guess, count, job);
    for (size_t i = 0; i < *count; i++)
        trial[i] = (struct trial){.pose = guess[i].motion};
    return status;
}

enum status pairing_find(const struct scan *moving, const struct scan *fixed,
                         const struct pairing_rule *rule, struct pairing *out, struct job *job)
{
    struct trial trial[GUESSES_MOST];
    size_t count;
    *out = (struct pairing){.verdict = PAIR_APART, .pose = rigid_rest()};
    enum status status = guess_poses(moving, fixed, rule, trial, &count, job);
    if (status != STATUS_OK || count == 0)
        return status;
    const struct surfels *a = &moving->thin[0], *b = &fixed->thin[0];
    double spacing = fmax(a->spacing, b->spacing);
    struct icp_rule coarse = {COARSE_SAMPLES, 4 * spacing, 0.02 * spacing, COARSE_ROUNDS, 1};
    status = try_all(a, b, &coarse, trial, count, job);
    if (status != STATUS_OK)
        return status;
    weigh_misses(moving, fixed, trial, count, job_threads(job));
    count = leave_different(trial, count, FINALISTS, a);
    a = moving->full;
    b = fixed->full;
    struct icp_rule fine = {FINE_SAMPLES, 2 * spacing, 0.01 * a->spacing, FINE_ROUNDS, 1};
    status = try_all(a, b, &fine, trial, count, job);
    if (status != STATUS_OK)
        return status;
    weigh_misses(moving, fixed, trial, count, job_threads(job));
    count = leave_different(trial, count, FINALISTS, a);
    settle(moving, trial, count, out);
    return STATUS_OK;
}
