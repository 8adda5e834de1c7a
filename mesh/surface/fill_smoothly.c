#include "surface/fill_smoothly.h"

#include "core/job.h"
#include "surface/fill_curve.h"
#include "surface/fill_fair.h"
#include "surface/fill_refine.h"

enum {
    COARSE = 4,      /* how much longer edges are at first */
    ROUNDS_MOST = 4, /* of refining and fairing */
    CURVED_MOST = 12 /* the same where curvature is spread: it takes more to settle */
};

/* A patch whose area is so many times that which its rim encloses is a dome. Measured: below that
 * (a cap of half-angle 48 degrees) the noise of the rim harms more than its curvature helps. */
static const double dome = 1.2;
/* The surface around a dome must not run back under it (a sheet's outer edge): least mean of the
 * cosine between where the patch faces and where its surroundings do. */
static const double facing_least = -0.9;
/* The area is settled when it changes less in a round, as a share. */
static const double settled = 0.02, curved_settled = 0.003;

struct shaping {
    struct patch *patch;
    const struct around *around;
    const struct job *job;
    bool may_curve, curved;
    double slope;
    double enclosed; /* mm2: area of the rim's own area vector */
};

static double patch_area(const struct patch *patch)
{
    double area = 0;
    for (uint32_t t = 0; t < patch->triangles; t++)
        area += vec_length(patch_normal(patch, t)) / 2;
    return area;
}

static enum status lacking(const struct job *job)
{
    return job_cancelled(job) ? STATUS_CANCELLED : STATUS_MEMORY;
}

/* One round. *change: of the area by fairing, as a share; 0 when there was nothing to fair. */
static enum status go_round(struct shaping *s, double scale, double *change)
{
    *change = 0;
    if (!refine_patch(s->patch, scale, s->job))
        return lacking(s->job);
    if (s->patch->vertices == s->patch->rim)
        return STATUS_OK;
    double area = patch_area(s->patch);
    enum status status = fair_patch(s->patch, s->around, s->slope, s->curved, s->job);
    if (status == STATUS_OK)
        *change = fabs(patch_area(s->patch) / area - 1);
    return status;
}

/* Whether to go on after a round that changed the area by `change`, the round before by `last`. */
static enum status judge(struct shaping *s, int round, double change, double last, bool *on)
{
    bool begins = s->may_curve && patch_area(s->patch) > dome * s->enclosed;
    s->may_curve = false; /* decided once, after the first round */
    if (s->curved && round > 1 && change > last) {
        s->curved = false; /* it does not settle: back to bending least */
        *on = true;
        return STATUS_OK;
    }
    *on = begins || change > (s->curved ? curved_settled : settled);
    s->curved |= begins;
    return s->curved && *on ? curve_spread(s->patch, s->around, s->job) : STATUS_OK;
}

static enum status settle(struct shaping *s, double scale)
{
    double last = INFINITY;
    bool on = true;
    for (int round = 0; on && round < (s->curved ? CURVED_MOST : ROUNDS_MOST); round++) {
        double change;
        enum status status = go_round(s, scale, &change);
        if (status == STATUS_REFUSED && s->curved) {
            s->curved = false;
            continue;
        }
        if (status == STATUS_OK)
            status = judge(s, round, change, last, &on);
        if (status != STATUS_OK)
            return status;
        last = change;
    }
    return STATUS_OK;
}

/* Whether the surface around faces so that a dome could close it. */
static bool may_curve(const struct walk *walk, struct vec area)
{
    struct vec up = vec_unit(area);
    double sum = 0;
    for (size_t i = 0; i < walk->count; i++)
        sum += vec_dot(walk->outer[i], up);
    return sum > facing_least * (double)walk->count;
}

enum status smoothly_shape(struct patch *patch, const struct around *around,
                           const struct walk *walk, double slope, bool *rough,
                           const struct job *job)
{
    struct vec area = walk_area(walk, patch->at);
    struct shaping s = {.patch = patch, .around = around, .slope = slope, .job = job};
    s.may_curve = slope >= SLOPE_FULL && may_curve(walk, area);
    s.enclosed = vec_length(area) / 2;
    patch->flat = -1;
    enum status status = slope < 0 ? STATUS_REFUSED : settle(&s, COARSE);
    if (status == STATUS_OK)
        status = settle(&s, 1);
    if (status != STATUS_REFUSED)
        return status;
    *rough = slope >= 0;
    return refine_patch(patch, 1, job) ? STATUS_OK : lacking(job);
}
