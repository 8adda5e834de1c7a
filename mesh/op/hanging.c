#include "op/hanging.h"

#include <math.h>

#include "core/job.h"
#include "op/fixing.h"

static const double gravity = 9.80665; /* m/s2, the standard one (3rd CGPM, 1901) */

/* --- what is told --------------------------------------------------------------------------- */

static const char *lower_side(double tilt)
{
    return tilt > 0 ? "right" : "left";
}

static void tell_one(const struct hang *h, struct job *job)
{
    if (!h->holds)
        job_note(job,
                 "hung by its keyhole it turns over: its centre of mass is %.4g mm above the screw",
                 -h->below);
    else if (fabs(h->tilt) < 0.05)
        job_note(job,
                 "hung by its keyhole it hangs level, its centre of mass %.4g mm below the screw",
                 h->below);
    else
        job_note(job,
                 "hung by its keyhole it swings until its %s side hangs %.3g degrees lower: its "
                 "centre of mass lies %.3g mm to the %s of the screw, %.4g mm below",
                 lower_side(h->tilt), fabs(h->tilt), fabs(h->across), lower_side(h->tilt),
                 h->below);
}

static void tell_two(const struct hang *h, struct job *job)
{
    double apart = vec_length(vec_sub(h->screw[1], h->screw[0]));
    if (!h->holds)
        job_note(
            job,
            "hung by its two keyholes it comes off one: its centre of mass lies %.3g mm to the "
            "%s of the middle between the screws, which are %.5g mm apart",
            fabs(h->across), lower_side(h->across), apart);
    else if (fabs(h->tilt) < 0.05)
        job_note(job, "hung by its two keyholes, %.5g mm apart, it hangs level", apart);
    else
        job_note(job,
                 "hung by its two keyholes, %.5g mm apart, its %s side hangs %.3g degrees lower "
                 "than the slots would have it",
                 apart, lower_side(h->tilt), fabs(h->tilt));
    if (h->holds)
        job_note(job,
                 "%.0f %% of its weight on the left screw, %.0f %% on the right; a screw 1 mm too "
                 "high tilts it by %.2g degrees",
                 100 - 100 * h->share, 100 * h->share, hang_tilt_per_mm(h));
}

static void tell_pull(const struct hang *h, double grams, struct job *job)
{
    double newton = grams / 1000 * gravity;
    job_note(job, "its centre of mass lies %.4g mm before the wall", h->arm);
    if (grams > 0)
        job_note(job, "it pulls forward with %.4g N mm (%.4g g)", newton * h->arm, grams);
    if (!(h->rest > 0))
        job_note(job, "nothing of it rests on the wall below the screws: it tips forward until "
                      "something does");
    else if (grams > 0)
        job_note(
            job,
            "it rests on the wall down to %.4g mm below the screws: their heads hold back %.3g "
            "N; each mm that they stand out too far lets it lean forward by %.2g degrees",
            h->rest, newton * h->arm / h->rest,
            asin(fmin(1, 1 / h->rest)) * 180 / 3.14159265358979323846);
    if (h->proud > 0.05)
        job_note(job,
                 "its back stands out %.3g mm behind the keyholes: let the heads stand so much "
                 "farther from the wall",
                 h->proud);
}

void hanging_tell(const struct op_call *call, const struct hang *hang, double grams)
{
    if (hang->screws > 1)
        tell_two(hang, call->job);
    else
        tell_one(hang, call->job);
    if (hang->holds)
        tell_pull(hang, grams, call->job);
}

/* --- what is drawn -------------------------------------------------------------------------- */

enum status hanging_sketch(const struct op_call *call, const struct hang *h, struct vec centre,
                           struct sketch *sketch)
{
    struct vec left = h->screw[0], right = h->screw[h->screws - 1];
    struct vec from = vec_along(vec_scale(vec_add(left, right), 0.5), -h->proud, h->out);
    double across = vec_dot(vec_sub(centre, from), h->side);
    struct vec above = vec_along(from, across, h->side); /* the screws, straight over the centre */
    struct vec below = vec_along(above, h->low[1], h->up);
    struct vec arm = vec_along(centre, -h->arm, h->out);
    enum status status = sketch_line(sketch, vec_along(from, h->low[0], h->side),
                                     vec_along(from, h->high[0], h->side), call->job);
    if (status == STATUS_OK)
        status = sketch_line(sketch, above, below, call->job);
    if (status == STATUS_OK)
        status = sketch_line(sketch, arm, centre, call->job);
    for (int i = 0; i < h->screws && status == STATUS_OK; i++)
        status = sketch_mark(sketch, h->screw[i], 'o', call->job);
    return status == STATUS_OK ? sketch_mark(sketch, centre, 'M', call->job) : status;
}
