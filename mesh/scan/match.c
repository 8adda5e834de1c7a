#include "scan/match.h"

#include <omp.h>
#include <stdlib.h>
#include <string.h>

#include "core/job.h"
#include "scan/horn.h"

enum {
    SHORTLIST = 96, /* places of b compared height by height, for a place of a */
    KEEP = 4,       /* of which are kept */
    USUAL = 20,     /* the 1 / USUAL quantile of the distances is what is usual */
    SEEDS = 700,    /* matches that are tried as a motion */
    VOTERS = 2500   /* matches that may agree */
};
static const double turn_within = 0.42, place_within = 0.4; /* radians; of the radius */

/* --- finding --------------------------------------------------------------------------------- */

struct candidate {
    float distance; /* squared, of the traits */
    uint32_t land;
};

static int by_distance(const void *a, const void *b)
{
    const struct candidate *x = a, *y = b;
    if (x->distance != y->distance)
        return x->distance < y->distance ? -1 : 1;
    return (x->land > y->land) - (x->land < y->land);
}

static float trait_distance(const struct land *a, const struct land *b)
{
    float sum = 0;
    for (int i = 0; i < TRAITS; i++) {
        float d = a->trait[i] - b->trait[i];
        sum += d * d;
    }
    return sum;
}

/* Brings the `first` least candidates to the front (in no order). */
static void bring_least(struct candidate *c, size_t count, size_t first)
{
    size_t low = 0, high = count;
    while (high - low > 1) {
        struct candidate pivot = c[low + (high - low - 1) / 2];
        size_t i = low, j = high - 1;
        for (;;) {
            while (by_distance(&c[i], &pivot) < 0)
                i++;
            while (by_distance(&c[j], &pivot) > 0)
                j--;
            if (i >= j)
                break;
            struct candidate t = c[i];
            c[i++] = c[j];
            c[j--] = t;
        }
        if (j + 1 <= first)
            low = j + 1;
        else
            high = j + 1;
        if (low >= first)
            return;
    }
}

struct found { /* the best places of b for one of a */
    struct match match[KEEP];
    size_t count;
};

/* Keeps the match unless a better one lies close by. */
static void keep(struct found *found, const struct match *match, double apart)
{
    size_t i = 0;
    for (; i < found->count; i++)
        if (vec_length(vec_sub(found->match[i].to, match->to)) < apart) {
            if (match->likeness >= found->match[i].likeness)
                return;
            memmove(&found->match[i], &found->match[i + 1], (--found->count - i) * sizeof *match);
            break;
        }
    for (i = found->count; i > 0 && found->match[i - 1].likeness > match->likeness; i--)
        if (i < KEEP)
            found->match[i] = found->match[i - 1];
    if (i < KEEP) {
        found->match[i] = *match;
        found->count += found->count < KEEP;
    }
}

static void look_for(const struct lands *a, const struct land *place, const struct lands *b,
                     double apart, struct candidate *candidate, struct found *found)
{
    size_t count = 0;
    found->count = 0;
    for (size_t i = 0; i < b->count; i++)
        if (b->land[i].known &&
            vec_length2(vec_sub(b->land[i].frame.at, place->frame.at)) >= apart * apart)
            candidate[count++] =
                (struct candidate){trait_distance(place, &b->land[i]), (uint32_t)i};
    if (count < USUAL)
        return;
    size_t shortlist = count < SHORTLIST ? count : SHORTLIST;
    bring_least(candidate, count, count / USUAL);
    double usual = 0;
    for (size_t i = 0; i < count / USUAL; i++)
        usual = fmax(usual, (double)candidate[i].distance);
    bring_least(candidate, count, shortlist);
    for (size_t i = 0; i < shortlist; i++) {
        const struct land *other = &b->land[candidate[i].land];
        struct likeness like;
        lands_compare(place, other, a->radius, &like);
        if (!isfinite(like.off2))
            continue;
        struct match match = {.from = place->frame.at, .to = other->frame.at, .radius = a->radius};
        match.motion = like.motion;
        match.likeness = like.off2 / (usual + 1e-12);
        match.place = place->point;
        keep(found, &match, a->radius / 3);
    }
}

static int by_likeness(const void *a, const void *b)
{
    const struct match *x = a, *y = b;
    if (x->likeness != y->likeness)
        return x->likeness < y->likeness ? -1 : 1;
    return memcmp(&x->from, &y->from, 2 * sizeof x->from);
}

static enum status take(struct matches *out, const struct found *found, size_t places,
                        struct job *job)
{
    size_t more = 0;
    for (size_t i = 0; i < places; i++)
        more += found[i].count;
    struct match *match = realloc(out->match, (out->count + more + 1) * sizeof *match);
    if (!match)
        return job_fail_memory(job, (out->count + more) * sizeof *match);
    out->match = match;
    for (size_t i = 0; i < places; i++)
        for (size_t k = 0; k < found[i].count; k++)
            match[out->count++] = found[i].match[k];
    qsort(match, out->count, sizeof *match, by_likeness);
    return STATUS_OK;
}

/* Which places of a are looked for: an even choice of those that are known. */
static size_t choose_places(const struct lands *a, size_t most, uint32_t *place)
{
    size_t known = 0, count = 0;
    for (size_t i = 0; i < a->count; i++)
        known += a->land[i].known;
    most = known < most ? known : most;
    size_t seen = 0;
    for (size_t i = 0; i < a->count; i++)
        if (a->land[i].known && seen++ * most / known == count && count < most)
            place[count++] = (uint32_t)i;
    return count;
}

enum status matches_add(const struct lands *a, const struct lands *b, size_t places, double apart,
                        struct matches *out, struct job *job)
{
    int threads = job_threads(job);
    uint32_t *place = scratch_new(places, sizeof *place);
    struct found *found = scratch_new(places, sizeof *found);
    struct candidate *candidate = scratch_new(b->count * (size_t)threads + 1, sizeof *candidate);
    enum status status = STATUS_OK;
    if (!place || !found || !candidate) {
        status = job_fail_memory(job, places * sizeof *found + b->count * sizeof *candidate);
    } else {
        size_t count = choose_places(a, places, place);
#pragma omp parallel num_threads(threads)
        {
            struct candidate *mine = candidate + b->count * (size_t)omp_get_thread_num();
#pragma omp for schedule(dynamic, 4)
            for (size_t i = 0; i < count; i++) {
                found[i].count = 0;
                if (!job_cancelled(job))
                    look_for(a, &a->land[place[i]], b, apart, mine, &found[i]);
            }
        }
        status = job_cancelled(job) ? job_fail_cancelled(job) : take(out, found, count, job);
    }
    scratch_free(place);
    scratch_free(found);
    scratch_free(candidate);
    return status;
}

void matches_release(struct matches *matches)
{
    free(matches->match);
    *matches = (struct matches){0};
}

/* --- grouping -------------------------------------------------------------------------------- */

static bool agrees(const struct rigid *motion, const struct match *match, double wider)
{
    struct vec off = vec_sub(rigid_apply(motion, match->from), match->to);
    double near = wider * place_within * match->radius;
    return vec_length2(off) < near * near &&
           rigid_angle(motion, &match->motion) < wider * turn_within;
}

/* How many places agree with the motion; the likelier the match the more it counts. */
static double support_of(const struct matches *matches, size_t voters, const struct rigid *motion)
{
    double support = 0;
    for (size_t j = 0; j < voters; j++)
        if (agrees(motion, &matches->match[j], 1))
            support += 1 / (0.05 + matches->match[j].likeness);
    return support;
}

/* The motion that serves the agreeing matches best: their places, and points on their normals so
 * that few of them hold it too. */
static struct rigid mean_motion(const struct matches *matches, size_t voters,
                                const struct rigid *motion, struct vec *from, struct vec *to)
{
    size_t count = 0;
    for (size_t j = 0; j < voters; j++) {
        const struct match *m = &matches->match[j];
        if (!agrees(motion, m, 1))
            continue;
        for (int k = 0; k < 3; k++) {
            struct vec arm =
                vec(k == 0 ? m->radius : 0, k == 1 ? m->radius : 0, k == 2 ? m->radius : 0);
            from[count] = vec_add(m->from, arm);
            to[count++] = rigid_apply(&m->motion, vec_add(m->from, arm));
        }
    }
    struct horn horn;
    return horn_solve(from, to, NULL, count, &horn) ? horn.motion : *motion;
}

struct seed {
    double support;
    uint32_t match;
};

static int by_support(const void *a, const void *b)
{
    const struct seed *x = a, *y = b;
    if (x->support != y->support)
        return x->support > y->support ? -1 : 1;
    return (x->match > y->match) - (x->match < y->match);
}

/* Whether a guess is already there that moves this match's place to much the same. */
static bool is_there(const struct guess *guess, size_t count, const struct match *match)
{
    for (size_t i = 0; i < count; i++)
        if (agrees(&guess[i].motion, match, 0.8))
            return true;
    return false;
}

/* The matches that may start a group, the best supported first. */
static void rank_seeds(const struct matches *matches, size_t voters, struct seed *seed,
                       size_t seeds, const struct job *job)
{
#pragma omp parallel for num_threads(job_threads(job)) schedule(static)
    for (size_t i = 0; i < seeds; i++) {
        double support =
            job_cancelled(job) ? 0 : support_of(matches, voters, &matches->match[i].motion);
        seed[i] = (struct seed){support, (uint32_t)i};
    }
    qsort(seed, seeds, sizeof *seed, by_support);
}

size_t matches_group(struct matches *matches, size_t most, struct guess *guess, struct job *job)
{
    size_t seeds = matches->count < SEEDS ? matches->count : SEEDS, count = 0;
    size_t voters = matches->count < VOTERS ? matches->count : VOTERS;
    struct seed *seed = scratch_new(seeds + 1, sizeof *seed);
    struct vec *from = scratch_new(6 * voters + 1, sizeof *from);
    if (!seed || !from) {
        scratch_free(seed);
        scratch_free(from);
        job_fail_memory(job, 6 * voters * sizeof *from);
        return SIZE_MAX;
    }
    rank_seeds(matches, voters, seed, seeds, job);
    for (size_t i = 0; i < seeds && count < most && !job_cancelled(job); i++) {
        const struct match *match = &matches->match[seed[i].match];
        if (is_there(guess, count, match))
            continue;
        guess[count].support = seed[i].support;
        guess[count++].motion =
            mean_motion(matches, voters, &match->motion, from, from + 3 * voters);
    }
    scratch_free(seed);
    scratch_free(from);
    if (!job_cancelled(job))
        return count;
    job_fail_cancelled(job);
    return SIZE_MAX;
}
