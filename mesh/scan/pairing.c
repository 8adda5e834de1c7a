#include "scan/pairing.h"

#include <stdlib.h>

#include "core/job.h"
#include "scan/faces.h"

enum {
    FACE_GUESSES = 4800,
    QUICK_SAMPLES = 150,
    ITSELF_SAMPLES = 80, /* at first */
    COARSE_SAMPLES = 500,
    COARSE_ROUNDS = 15,
    FINE_SAMPLES = 4000,
    FINE_ROUNDS = 15,
    FINALISTS = 8,
    FITTED = 10000, /* points of a piece that the fit of all together goes by, at most */
    SHARING = 6,
    SEEN_SAMPLES = 3000, /* that cameras are asked about */
    THIN_PER_RADIUS = 8
};
const double scan_radius[SCALES] = {0.055, 0.11};
static const double agree_from = 0.75; /* of the facing surface within the tolerance */
static const double share_from = 0.02, points_from = 150; /* of the moving scan, that agree */
static const double rival_overlaps = 0.3;                 /* beside the best pose */
static const double rival_doubts = 2, rival_doubts_more = 0.005; /* times the best one's, and a
                                                share of the surface more: refuted */
static const double faceted_doubts = 0.015; /* where faces tell little, so little must speak against
                                              it */
static const double itself_share =
    0.1; /* of what looks the same turned: what lies on itself, ... */
static const double itself_at_first = 0.7, itself_agrees = 0.85; /* ... and of what faces itself */
static const double rival_misses = 0.05; /* more, and it could not be meant */
static const double miss_weighs = 20;    /* against overlap, while poses are chosen among */
static const double faceted_from = 0.6;
static const double off_most = 1 / 6.0; /* of the spacing: how far a pose may be off the way it is
                                           held least, three times its standard deviation */

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
        status = surfels_firm(&out->thin[0], &out->firm, job);
    if (status != STATUS_OK)
        scan_release(out);
    return status;
}

enum status scan_look(struct scan *scan, struct job *job)
{
    return camera_find(scan->full, &scan->firm, &scan->camera, job);
}

void scan_release(struct scan *scan)
{
    for (int i = 0; i < SCALES; i++) {
        surfels_release(&scan->thin[i]);
        lands_release(&scan->lands[i]);
    }
    surfels_release(&scan->firm);
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

/* Records nothing in the job: several run at once. */
static enum status try_pose(const struct surfels *moving, const struct surfels *fixed,
                            const struct icp_rule *rule, double tolerance, struct trial *trial,
                            struct job *job)
{
    struct links links;
    enum status status = links_make(moving, rule->samples, &links, NULL);
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
                           const struct icp_rule *rule, double tolerance, struct trial *trial,
                           size_t count, struct job *job)
{
#pragma omp parallel for num_threads(job_threads(job)) schedule(dynamic)
    for (size_t i = 0; i < count; i++)
        if (!job_cancelled(job))
            trial[i].status = try_pose(moving, fixed, rule, tolerance, &trial[i], job);
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

typedef double (*camera_share)(const struct camera *camera, const struct surfels *other,
                               const struct rigid *pose, size_t samples);

/* The share of scan b that the camera of a contradicts; negative: it has none. */
static double share_from_camera(camera_share share, const struct scan *a, const struct scan *b,
                                const struct rigid *b_to_a, size_t samples)
{
    return a->camera.single ? share(&a->camera, &b->firm, b_to_a, samples) : -1;
}

/* The greatest share of another scan that one camera contradicts, of all that make the two up. */
static double share_by_cameras(camera_share share, const struct scan *moving,
                               const struct scan *fixed, const struct rigid *pose, size_t samples)
{
    const struct scan_part self[2] = {{moving, rigid_rest()}, {fixed, rigid_rest()}};
    const struct scan_part *a = moving->parts ? moving->part : self;
    const struct scan_part *b = fixed->parts ? fixed->part : self + 1;
    double most = -1;
    for (size_t i = 0; i < (moving->parts ? moving->parts : 1); i++)
        for (size_t k = 0; k < (fixed->parts ? fixed->parts : 1); k++) {
            struct rigid back = rigid_inverse(&b[k].pose), there = rigid_then(&a[i].pose, pose);
            there = rigid_then(&there, &back);
            back = rigid_inverse(&there);
            most = fmax(most, share_from_camera(share, b[k].scan, a[i].scan, &there, samples));
            most = fmax(most, share_from_camera(share, a[i].scan, b[k].scan, &back, samples));
        }
    return most;
}

static double misses_of(const struct scan *moving, const struct scan *fixed,
                        const struct rigid *pose, size_t samples)
{
    return share_by_cameras(camera_misses, moving, fixed, pose, samples);
}

/* Brings what the cameras say into the poses' worth. */
static enum status weigh_misses(const struct scan *moving, const struct scan *fixed,
                                struct trial *trial, size_t count, size_t samples, struct job *job)
{
#pragma omp parallel for num_threads(job_threads(job)) schedule(dynamic)
    for (size_t i = 0; i < count; i++) {
        if (job_cancelled(job))
            continue;
        trial[i].misses = misses_of(moving, fixed, &trial[i].pose, samples);
        trial[i].worth = worth_of(&trial[i].touch) / (1 + miss_weighs * fmax(0, trial[i].misses));
    }
    return job_cancelled(job) ? job_fail_cancelled(job) : STATUS_OK;
}

/* The share of what should fit at a pose that does not: surfaces that face each other but do not
 * agree, and what the cameras contradict. */
static double doubt_of(double agreement, double misses)
{
    return 1 - agreement + fmax(0, misses);
}

/* Whether another pose could be meant as well as the best: about as little speaks against it. */
static bool is_rival(const struct trial *best, const struct trial *other, double spacing)
{
    if (other->touch.rms > 2 * best->touch.rms + 0.02 * spacing ||
        other->touch.overlap < rival_overlaps * best->touch.overlap)
        return false;
    return doubt_of(other->touch.agreement, other->misses) <
           rival_doubts * doubt_of(best->touch.agreement, best->misses) + rival_doubts_more;
}

/* How far the pose may be off the way it is held least, mm: three standard deviations of what the
 * fit leaves to chance, from its residuals and the stiffness (the covariance of least squares).
 * Links near each other share points, so that one in SHARING tells something of its own. */
static double off_by(const struct pairing *pairing, size_t points)
{
    double links = pairing->touch.overlap * (double)(points < FITTED ? points : FITTED);
    double weakest = pairing->slide.weakest;
    return weakest > 0 ? 3 * pairing->touch.rms * sqrt(SHARING / links) / weakest
                       : (double)INFINITY;
}

/* What the distances may come to where the surfaces are the same, mm (RMS): three times their blur,
 * and the fiftieth of the spacing that finding neighbours costs. */
static double rms_most(const struct surfels *moving, const struct surfels *fixed)
{
    double blur = sqrt((moving->blur * moving->blur + fixed->blur * fixed->blur) / 2);
    return 3 * blur + 0.02 * fmax(moving->spacing, fixed->spacing);
}

static enum pair_verdict verdict_of(const struct pairing *pairing, const struct surfels *moving,
                                    const struct surfels *fixed, bool rivalled)
{
    size_t points = surfels_count(moving);
    const struct touch *touch = &pairing->touch;
    if (touch->overlap < share_from || touch->overlap * (double)points < points_from)
        return PAIR_THIN;
    if (touch->agreement < agree_from || touch->rms > rms_most(moving, fixed))
        return PAIR_DOUBTFUL;
    if (pairing->slide.free || off_by(pairing, points) > off_most * moving->spacing)
        return PAIR_SLIDES;
    if (rivalled)
        return PAIR_AMBIGUOUS;
    bool plain =
        pairing->facets > faceted_from &&
        (pairing->misses < 0 || doubt_of(touch->agreement, pairing->misses) > faceted_doubts);
    return plain ? PAIR_PLAIN : PAIR_HOLDS;
}

static void settle(const struct scan *moving, const struct scan *fixed, const struct trial *trial,
                   size_t count, struct pairing *out)
{
    bool rivalled = false;
    out->rivals = 0;
    for (size_t i = 1; i < count; i++) {
        rivalled = rivalled || is_rival(&trial[0], &trial[i], moving->full->spacing);
        if (out->rivals < PAIRING_RIVALS && trial[i].touch.agreement >= agree_from &&
            trial[i].misses < rival_misses)
            out->rival[out->rivals++] = trial[i].pose;
    }
    out->pose = trial[0].pose;
    out->touch = trial[0].touch;
    out->misses = trial[0].misses;
    out->facets = trial[0].touch.facets;
    slide_find(&out->touch, &out->slide);
    out->verdict = verdict_of(out, moving->full, fixed->full, rivalled);
}

enum status pairing_judge(const struct scan *moving, const struct scan *fixed,
                          struct pairing *pairing, struct job *job)
{
    struct icp_rule rule = {.samples = FINE_SAMPLES, .threads = job_threads(job)};
    struct trial trial = {.pose = pairing->pose};
    double tolerance = fit_tolerance(moving->full, fixed->full);
    enum status status = try_pose(moving->full, fixed->full, &rule, tolerance, &trial, job);
    if (job_cancelled(job))
        return job_fail_cancelled(job);
    if (status != STATUS_OK)
        return job_fail_memory(job, rule.samples * sizeof(struct link));
    status = weigh_misses(moving, fixed, &trial, 1, SEEN_SAMPLES, job);
    if (status == STATUS_OK)
        settle(moving, fixed, &trial, 1, pairing);
    return status;
}

/* --- finding --------------------------------------------------------------------------------- */

enum status pairing_guess(const struct scan *moving, const struct scan *fixed,
                          const struct pairing_rule *rule, struct guess *guess, size_t *count,
                          struct job *job)
{
    struct matches matches = {0};
    enum status status = STATUS_OK;
    for (int i = 0; i < SCALES && status == STATUS_OK; i++)
        status = matches_add(&moving->lands[i], &fixed->lands[i], rule->places, 0, &matches, job);
    *count = status == STATUS_OK ? matches_group(&matches, rule->guesses, guess, job) : 0;
    matches_release(&matches);
    if (*count != SIZE_MAX)
        return status;
    *count = 0;
    return job_status(job);
}

static bool is_near(const struct pairing_near *near, const struct rigid *pose)
{
    return rigid_angle(&near->present, pose) <= near->turned &&
           vec_length(vec_sub(near->present.shift, pose->shift)) <= near->moved;
}

static enum status guess_poses(const struct scan *moving, const struct scan *fixed,
                               const struct pairing_rule *rule, struct trial *trial, size_t *count,
                               struct job *job)
{
    struct guess guess[GUESSES_MOST];
    enum status status = pairing_guess(moving, fixed, rule, guess, count, job);
    size_t guessed = *count;
    *count = 0;
    if (rule->near)
        trial[(*count)++] = (struct trial){.pose = rule->near->ended};
    for (size_t i = 0; i < guessed && *count < GUESSES_MOST; i++)
        if (!rule->near || is_near(rule->near, &guess[i].motion))
            trial[(*count)++] = (struct trial){.pose = guess[i].motion};
    return status;
}

/* Leaves of poses that are only guessed those that look best as they are. */
static enum status leave_likely(const struct scan *moving, const struct scan *fixed,
                                struct trial *trial, size_t *count, size_t most, struct job *job)
{
    const struct surfels *a = &moving->thin[0], *b = &fixed->thin[0];
    double spacing = fmax(a->spacing, b->spacing);
    struct icp_rule rule = {QUICK_SAMPLES, 4 * spacing, spacing, 0, 1, 0};
    enum status status = try_all(a, b, &rule, 0.7 * spacing, trial, *count, job);
    if (status == STATUS_OK)
        status = weigh_misses(moving, fixed, trial, *count, QUICK_SAMPLES, job);
    if (status == STATUS_OK)
        *count = leave_different(trial, *count, most, a);
    return status;
}

/* Adds the likeliest of the poses at which flat faces lie on each other. */
static enum status add_by_faces(const struct scan *moving, const struct scan *fixed,
                                struct trial *trial, size_t *count, struct job *job)
{
    const struct surfels *a = &moving->thin[0], *b = &fixed->thin[0];
    struct faces faces_a = {.of = NULL}, faces_b = {.of = NULL};
    size_t bytes = sizeof(struct trial) + sizeof(struct rigid), more = 0;
    struct trial *guessed = scratch_new(FACE_GUESSES, bytes);
    enum status status = guessed ? STATUS_OK : job_fail_memory(job, FACE_GUESSES * bytes);
    if (status == STATUS_OK)
        status = faces_find(a, &faces_a, job);
    if (status == STATUS_OK)
        status = faces_find(b, &faces_b, job);
    if (status == STATUS_OK) {
        struct rigid *pose = (struct rigid *)(void *)(guessed + FACE_GUESSES);
        more = faces_guess(a, &faces_a, b, &faces_b, FACE_GUESSES, pose, job);
        for (size_t i = 0; i < more; i++)
            guessed[i] = (struct trial){.pose = pose[i]};
        status = leave_likely(moving, fixed, guessed, &more, GUESSES_MOST - *count, job);
    }
    for (size_t i = 0; i < more && status == STATUS_OK; i++)
        trial[(*count)++] = (struct trial){.pose = guessed[i].pose};
    scratch_free(guessed);
    faces_release(&faces_a);
    faces_release(&faces_b);
    return status;
}

enum status pairing_find(const struct scan *moving, const struct scan *fixed,
                         const struct pairing_rule *rule, struct pairing *out, struct job *job)
{
    struct trial trial[GUESSES_MOST];
    size_t count = 0;
    *out = (struct pairing){.verdict = PAIR_APART, .pose = rigid_rest()};
    enum status status = guess_poses(moving, fixed, rule, trial, &count, job);
    if (status == STATUS_OK && rule->faces)
        status = add_by_faces(moving, fixed, trial, &count, job);
    if (status != STATUS_OK || count == 0)
        return status;
    const struct surfels *a = &moving->thin[0], *b = &fixed->thin[0];
    double spacing = fmax(a->spacing, b->spacing);
    struct icp_rule coarse = {COARSE_SAMPLES, 4 * spacing, 0.02 * spacing, COARSE_ROUNDS, 1, 0};
    status = try_all(a, b, &coarse, fit_tolerance(a, b), trial, count, job);
    if (status == STATUS_OK)
        status = weigh_misses(moving, fixed, trial, count, SEEN_SAMPLES / 5, job);
    if (status != STATUS_OK)
        return status;
    count = leave_different(trial, count, FINALISTS, a);
    a = moving->full;
    b = fixed->full;
    struct icp_rule fine = {FINE_SAMPLES, 2 * spacing, 0.01 * a->spacing,
                            FINE_ROUNDS,  1,           fmax(a->spacing, b->spacing)};
    status = try_all(a, b, &fine, fit_tolerance(a, b), trial, count, job);
    if (status == STATUS_OK)
        status = weigh_misses(moving, fixed, trial, count, SEEN_SAMPLES, job);
    if (status != STATUS_OK)
        return status;
    count = leave_different(trial, count, FINALISTS, a);
    settle(moving, fixed, trial, count, out);
    return STATUS_OK;
}

/* --- onto itself ----------------------------------------------------------------------------- */

/* Leaves the trials at which the surfels lie on themselves, but not as they are. */
static size_t leave_turned(struct trial *trial, size_t count, size_t most, double agreement,
                           const struct surfels *surfels)
{
    size_t left = 0;
    for (size_t i = 0; i < count; i++) {
        struct trial rest = trial[i];
        rest.pose = rigid_rest();
        if (trial[i].touch.overlap >= itself_share && trial[i].touch.agreement >= agreement &&
            differ(&trial[i], &rest, surfels))
            trial[left++] = trial[i];
    }
    return leave_different(trial, left, most, surfels);
}

enum status pairing_itself(const struct surfels *surfels, struct alike *alike, size_t *count,
                           size_t most, struct job *job)
{
    struct trial trial[GUESSES_MOST];
    size_t left = *count < GUESSES_MOST ? *count : GUESSES_MOST;
    double apart = surfels->spacing, tolerance = fit_tolerance(surfels, surfels);
    struct icp_rule rule = {ITSELF_SAMPLES, 4 * apart, 0.02 * apart, COARSE_ROUNDS, 1, 0};
    enum status status = STATUS_OK;
    for (size_t i = 0; i < left; i++)
        trial[i] = (struct trial){.pose = alike[i].motion};
    for (int look = 0; look < 2 && left && status == STATUS_OK; look++) {
        status = try_all(surfels, surfels, &rule, tolerance, trial, left, job);
        if (status == STATUS_OK)
            left = leave_turned(trial, left, most, look ? itself_agrees : itself_at_first, surfels);
        rule.samples = COARSE_SAMPLES;
    }
    *count = status == STATUS_OK ? left : 0;
    for (size_t i = 0; i < *count; i++)
        alike[i] = (struct alike){trial[i].pose, trial[i].touch.facets};
    return status;
}

/* --- what speaks against it ------------------------------------------------------------------ */

enum status pairing_doubt(const struct scan *moving, const struct scan *fixed,
                          const struct rigid *pose, size_t samples, struct doubt *out,
                          struct job *job)
{
    const struct surfels *a = moving->full, *b = fixed->full;
    double tolerance = fit_tolerance(a, b);
    struct links links;
    struct touch touch;
    enum status status = links_make(a, samples, &links, job);
    if (status != STATUS_OK)
        return status;
    links_find(&links, a, b, pose, fmax(10 * tolerance, 3 * b->spacing), job_threads(job));
    links_judge(&links, a, b, pose, tolerance, &touch);
    double misses = misses_of(moving, fixed, pose, samples);
    links_release(&links);
    out->overlap = touch.overlap;
    out->differ = touch.facing - touch.overlap;
    out->misses = misses;
    return STATUS_OK;
}

double pairing_through(const struct scan *moving, const struct scan *fixed,
                       const struct rigid *pose, size_t samples)
{
    return share_by_cameras(camera_through, moving, fixed, pose, samples);
}
