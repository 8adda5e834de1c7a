/* Taking samples, looking for the plane, fitting it closely. */
#include "scan/table.h"

#include "core/job.h"
#include "core/nth.h"
#include "scan/table_parts.h"

enum {
    SAMPLES = 16384, /* for the close fit */
    EVERY = 4,       /* of which every fourth is for the looking */
    FEWEST = 12,     /* samples that something can be found in */
    ROUNDS = 12,
    SCALES = 3,
    FINER = 5
};

static const double coarse_share = 0.004; /* of the size: 0.8 mm at 200 mm */

/* --- size ------------------------------------------------------------------------------------ */

/* The diagonal of the box around the samples, two hundredths of them left out at each end of each
 * side. */
static double size_of(const struct survey *s)
{
    double sum = 0;
    size_t stray = s->count / 50;
    for (int k = 0; k < 3; k++) {
        for (size_t i = 0; i < s->count; i++)
            s->number[i] = (&s->sample[i].at.x)[k];
        double low = nth_smallest(s->number, s->count, stray);
        double high = nth_smallest(s->number, s->count, s->count - 1 - stray);
        sum += (high - low) * (high - low);
    }
    return sqrt(sum);
}

/* --- the close fit --------------------------------------------------------------------------- */

/* The samples' corners within the tolerance of the surface into chosen[]; returns how many. Inside
 * of triangles the noise of their corners is averaged. */
static size_t choose(const struct survey *s, const struct bent_plane *bent, double tolerance)
{
    size_t n = 0;
    for (size_t i = 0; i < s->count; i++)
        if (fabs(bent_height(bent, s->sample[i].corner)) <= tolerance)
            s->chosen[n++] = s->sample[i].corner;
    return n;
}

/* The standard deviation of the chosen ones' heights, from their median (1.4826 times it, for
 * errors that are normally distributed; Rousseeuw & Leroy 1987). */
static double spread_of(const struct survey *s, const struct bent_plane *bent, size_t count)
{
    for (size_t i = 0; i < count; i++)
        s->number[i] = fabs(bent_height(bent, s->chosen[i]));
    return count ? 1.4826 * nth_smallest(s->number, count, count / 2) : 0;
}

static double bow_of(const struct survey *s, const struct bent_plane *bent, size_t count)
{
    double least = INFINITY, most = -INFINITY;
    for (size_t i = 0; i < count; i++) {
        double rise = bent_rise(bent, s->chosen[i]);
        least = fmin(least, rise);
        most = fmax(most, rise);
    }
    return count ? most - least : 0;
}

/* To the chosen ones. What would be bent by more than the coarse tolerance is no table: it is then
 * left flat. */
static void fit_bent(const struct survey *s, size_t count, struct bent_plane *bent)
{
    struct plane plane;
    double rms, scale = bent->scale;
    if (plane_fit(s->chosen, count, &plane, &rms)) {
        if (vec_dot(plane.normal, bent->plane.normal) < 0)
            plane.normal = vec_scale(plane.normal, -1);
        *bent = bent_flat(&plane, scale);
    }
    bent_fit(bent, s->chosen, count);
    if (bow_of(s, bent, count) > s->coarse)
        *bent = bent_flat(&bent->plane, scale);
}

/* Fits, takes what lies within four spreads, fits again, until it stays the same. */
static void fit_closely(const struct survey *s, const struct plane *plane, double tolerance,
                        struct table *out)
{
    double least = 1e-6 * s->size;
    struct bent_plane bent = bent_flat(plane, s->size);
    size_t n = choose(s, &bent, tolerance);
    for (int round = 0; round < ROUNDS && n >= FEWEST && !job_cancelled(s->job); round++) {
        fit_bent(s, n, &bent);
        out->spread = spread_of(s, &bent, n);
        double next = fmin(fmax(4 * out->spread, least), 4 * s->coarse);
        bool settled = fabs(next - tolerance) <= 1e-3 * tolerance;
        tolerance = next;
        n = choose(s, &bent, tolerance);
        if (settled)
            break;
    }
    out->surface = bent;
    out->bow = bow_of(s, &bent, n);
    out->share = (double)n / (double)s->count;
}

/* --- both ------------------------------------------------------------------------------------ */

static enum status refuse(bool flat, struct job *job)
{
    if (flat)
        return job_fail(job, STATUS_REFUSED,
                        "nothing stands on the table: all of it lies in one plane; \"close\" takes "
                        "the piece away");
    return job_fail(job, STATUS_REFUSED,
                    "no plane stands out as a table: none has the rest on one side and goes on "
                    "beyond it; if there is one, name a point of it by through=x,y,z, else go on "
                    "without this step");
}

/* Where nearly all lies in one plane, what stands on it is thin beside the whole: looks again with
 * a finer tolerance. The last that finds a table counts. */
static struct candidate look_closer(struct survey *few, double *coarse, bool *flat)
{
    struct candidate found = {.score = 0};
    for (int i = 0; i < SCALES; i++, few->coarse /= FINER) {
        bool flat_here;
        struct candidate c = table_look(few, &flat_here);
        *flat = i == 0 ? flat_here : *flat;
        if (c.score > 0) {
            found = c;
            *coarse = few->coarse;
        }
        if (!flat_here)
            break;
    }
    return found;
}

/* Every so-many-th sample, for the looking. */
static enum status look(const struct samples *samples, struct survey *all, struct candidate *found,
                        struct job *job)
{
    size_t every = samples->count >= SAMPLES ? EVERY : 1, n = 0;
    struct sample *few = scratch_new(samples->count / every + 1, sizeof *few);
    if (!few)
        return job_fail_memory(job, samples->count / every * sizeof *few);
    for (size_t i = 0; i < samples->count; i += every)
        few[n++] = samples->sample[i];
    struct survey survey = *all;
    survey.sample = few;
    survey.count = n;
    all->coarse = survey.coarse = fmax(survey.coarse, 3 * table_noise(&survey));
    bool flat;
    *found = look_closer(&survey, &all->coarse, &flat);
    scratch_free(few);
    if (job_cancelled(job))
        return job_fail_cancelled(job);
    return found->score > 0 ? STATUS_OK : refuse(flat, job);
}

/* The plane about the point that was named, as the samples nearest to it lie. */
static enum status look_around(const struct survey *s, struct vec point, struct candidate *found,
                               struct job *job)
{
    size_t nearest = 0;
    double least = INFINITY;
    for (size_t i = 0; i < s->count; i++) {
        double far = vec_length2(vec_sub(s->sample[i].at, point));
        nearest = far < least ? i : nearest;
        least = fmin(far, least);
    }
    if (!table_patch(s, nearest, &found->plane) || !table_refit(s, &found->plane, s->coarse))
        return job_fail(job, STATUS_REFUSED,
                        "it is not flat about that point; name another, or give the normal too");
    table_judge(s, found);
    return STATUS_OK;
}

/* The plane that was named; its normal says which side is up. */
static void take_given(const struct survey *s, const struct plane *given, struct candidate *found)
{
    found->plane = *given;
    table_judge(s, found);
    found->faces = found->faces && vec_dot(found->plane.normal, given->normal) > 0;
    found->plane = *given;
}

static enum status find_plane(const struct samples *samples, const struct plane *given,
                              struct survey *s, struct candidate *found, struct job *job)
{
    if (!given)
        return look(samples, s, found, job);
    if (vec_length2(given->normal) == 0)
        return look_around(s, given->through, found, job);
    take_given(s, given, found);
    return STATUS_OK;
}

static enum status find(const struct samples *samples, const struct plane *given, struct survey *s,
                        struct table *out, struct job *job)
{
    s->size = size_of(s);
    s->coarse = coarse_share * s->size;
    struct candidate found = {.score = 0};
    enum status status = find_plane(samples, given, s, &found, job);
    if (status != STATUS_OK)
        return status;
    *out = (struct table){.size = s->size, .faces = found.faces};
    struct plane level = found.plane;
    bool failed;
    double tolerance = table_level(s, &level, &failed);
    if (failed)
        return job_fail_memory(job, s->count * sizeof *s->sample);
    fit_closely(s, &level, tolerance, out);
    if (job_cancelled(job))
        return job_fail_cancelled(job);
    if (given && out->spread > s->coarse / 4) { /* what lies near it is evenly strewn: no table */
        out->surface = bent_flat(&found.plane, s->size);
        out->spread = out->bow = 0;
        out->share = (double)found.in / (double)s->count;
    }
    return STATUS_OK;
}

enum status table_find(const struct mesh *mesh, const struct plane *given, struct table *out,
                       struct job *job)
{
    struct samples samples;
    enum status status = samples_take(mesh, SAMPLES, &samples, job);
    if (status != STATUS_OK)
        return status;
    struct survey survey = {.sample = samples.sample, .count = samples.count, .job = job};
    survey.chosen = scratch_new(samples.count + 1, sizeof *survey.chosen);
    survey.number = scratch_new(samples.count + 1, sizeof *survey.number);
    if (!survey.chosen || !survey.number)
        status = job_fail_memory(job, samples.count * 32);
    else if (samples.count < FEWEST)
        status = job_fail(job, STATUS_REFUSED, "there is too little to find a table in: %s",
                          samples.count ? "only a few points" : "no surface and no points");
    else
        status = find(&samples, given, &survey, out, job);
    scratch_free(survey.chosen);
    scratch_free(survey.number);
    samples_release(&samples);
    return status;
}
