#include <stdio.h>
#include <string.h>

#include "core/job.h"
#include "scan/align_parts.h"

enum {
    PLACES = 500,
    GUESSES = 40,
    DEEP_PLACES = 800,
    DEEP_GUESSES = 80,
    POINTS_LEAST = 60 /* of a piece that is tried */
};
static const double deep_share[SCALES] = {0.033, 0.07};
static const double fits_overlap = 0.3, fits_doubts = 0.03; /* no odd one: see struct state */

bool align_usable(const struct state *s, size_t i)
{
    return surfels_count(&s->all[i]) >= POINTS_LEAST;
}

/* --- groups ---------------------------------------------------------------------------------- */

/* Joins the group of b to that of a; `motion` takes b's group coordinates to a's. */
static void join_groups(struct state *s, size_t a, size_t b, const struct rigid *motion)
{
    size_t low = s->group[a] < s->group[b] ? s->group[a] : s->group[b];
    size_t group_a = s->group[a], group_b = s->group[b];
    for (size_t i = 0; i < s->count; i++) {
        if (s->group[i] == group_b)
            s->pose[i] = rigid_then(&s->pose[i], motion);
        if (s->group[i] == group_a || s->group[i] == group_b)
            s->group[i] = low;
    }
    struct rigid back = rigid_inverse(&s->pose[low]); /* the lowest's coordinates are the group's */
    for (size_t i = 0; i < s->count; i++)
        if (s->group[i] == low)
            s->pose[i] = rigid_then(&s->pose[i], &back);
}

/* Joins by the motion from piece b's coordinates to piece a's. */
static void join_pair(struct state *s, size_t a, size_t b, const struct rigid *motion)
{
    struct rigid back = rigid_inverse(&s->pose[b]);
    struct rigid there = rigid_then(&back, motion);
    there = rigid_then(&there, &s->pose[a]);
    join_groups(s, a, b, &there);
}

size_t align_members(const struct state *s, size_t group)
{
    size_t n = 0;
    for (size_t i = 0; i < s->count; i++)
        n += s->group[i] == group;
    return n;
}

size_t align_first_locked(const struct state *s)
{
    size_t i = 0;
    while (i < s->locked && !align_usable(s, i))
        i++;
    return i < s->locked ? i : 0;
}

size_t align_main(const struct state *s)
{
    size_t best = s->group[align_first_locked(s)];
    if (align_members(s, best) < 2)
        for (size_t i = 0; i < s->count; i++)
            best = align_members(s, s->group[i]) > align_members(s, best) ? s->group[i] : best;
    return best;
}

/* --- pairs ----------------------------------------------------------------------------------- */

void align_note(struct state *s, size_t a, size_t b, const struct pairing *pairing)
{
    struct alignment *out = s->out;
    size_t k = 0;
    while (k < out->pairs && (out->pair[k].a != a || out->pair[k].b != b))
        k++;
    const struct touch *touch = &pairing->touch;
    out->pair[k] = (struct align_pair){.a = a,
                                       .b = b,
                                       .verdict = pairing->verdict,
                                       .overlap = touch->overlap,
                                       .facing = touch->facing,
                                       .agreement = touch->agreement,
                                       .rms = touch->rms,
                                       .misses = pairing->misses};
    out->pairs += k == out->pairs;
    bool held_not = pairing->verdict == PAIR_SLIDES || pairing->verdict == PAIR_AMBIGUOUS ||
                    pairing->verdict == PAIR_PLAIN;
    bool fits = held_not && touch->overlap > fits_overlap &&
                1 - touch->agreement + fmax(0, pairing->misses) < fits_doubts;
    s->fits[a] = s->fits[a] || fits;
    s->fits[b] = s->fits[b] || fits;
    char *why = out->piece[b].why;
    if (pairing->verdict == PAIR_SLIDES)
        snprintf(why, ALIGN_WHY, "on \"%.32s\" it %s", s->name[a],
                 pairing->slide.free ? pairing->slide.text : "is held too weakly one way");
    else if (pairing->verdict == PAIR_AMBIGUOUS || pairing->verdict == PAIR_PLAIN)
        snprintf(why, ALIGN_WHY, "on \"%.32s\" %s", s->name[a], pair_words(pairing->verdict));
}

static enum status make_scan(struct state *s, size_t i)
{
    double radius[SCALES];
    for (int k = 0; k < SCALES; k++)
        radius[k] = scan_radius[k] * s->size;
    enum status status = scan_make(&s->all[i], radius, &s->scan[i], s->job);
    if (status == STATUS_OK)
        status = scan_look(&s->scan[i], s->job);
    return status;
}

enum status align_make_scans(struct state *s)
{
    enum status status = STATUS_OK;
    for (size_t i = 0; i < s->count && status == STATUS_OK; i++)
        if (align_usable(s, i))
            status = make_scan(s, i);
    return status;
}

enum status align_try_pairs(struct state *s)
{
    static const struct pairing_rule rule = {PLACES, GUESSES, false, NULL};
    size_t n = s->count;
    job_phase(s->job, "comparing pieces", 400, n * (n - 1) / 2);
    for (size_t b = 1; b < n; b++)
        for (size_t a = 0; a < b; a++) {
            struct pairing pairing;
            if (!job_step(s->job, 1))
                return job_fail_cancelled(s->job);
            if (!align_usable(s, a) || !align_usable(s, b) || s->group[a] == s->group[b])
                continue;
            enum status status = pairing_find(&s->scan[b], &s->scan[a], &rule, &pairing, s->job);
            if (status != STATUS_OK)
                return status;
            align_note(s, a, b, &pairing);
            align_suspect(s, a, b, &pairing);
            if (pairing.verdict == PAIR_HOLDS)
                join_pair(s, a, b, &pairing.pose);
        }
    return STATUS_OK;
}

/* --- groups as one --------------------------------------------------------------------------- */

size_t align_gather(const struct state *s, size_t group, const struct surfels **part,
                    struct rigid *pose)
{
    size_t n = 0;
    for (size_t i = 0; i < s->count; i++)
        if (s->group[i] == group) {
            part[n] = &s->all[i];
            pose[n++] = s->pose[i];
        }
    return n;
}

enum status align_merge(struct state *s, size_t group, const double share[SCALES],
                        struct merged *out)
{
    double radius[SCALES] = {0};
    for (int i = 0; i < SCALES && share; i++)
        radius[i] = share[i] * s->size;
    *out = (struct merged){.part = scratch_new(s->count, sizeof *out->part)};
    size_t count = align_gather(s, group, s->part, s->room);
    enum status status = out->part ? surfels_merge(s->part, s->room, count, &out->surfels, s->job)
                                   : job_fail_memory(s->job, s->count * sizeof *out->part);
    out->scan.full = &out->surfels;
    if (status == STATUS_OK && share)
        status = scan_make(&out->surfels, radius, &out->scan, s->job);
    if (status != STATUS_OK)
        return status;
    out->scan.part = out->part;
    for (size_t i = 0; i < s->count; i++)
        if (s->group[i] == group)
            out->part[out->scan.parts++] = (struct scan_part){&s->scan[i], s->pose[i]};
    return STATUS_OK;
}

void align_merged_release(struct merged *merged)
{
    scan_release(&merged->scan);
    surfels_release(&merged->surfels);
    scratch_free(merged->part);
}

/* Tries one group on the main one; *joined: it worked. The merged coordinates are the groups' own.
 */
static enum status try_group(struct state *s, const struct merged *fixed, size_t into, size_t group,
                             bool *joined)
{
    static const struct pairing_rule rule = {DEEP_PLACES, DEEP_GUESSES, true, NULL};
    struct merged moving;
    struct pairing pairing;
    *joined = false;
    enum status status = align_merge(s, group, deep_share, &moving);
    if (status == STATUS_OK)
        status = pairing_find(&moving.scan, &fixed->scan, &rule, &pairing, s->job);
    align_merged_release(&moving);
    if (status != STATUS_OK)
        return status;
    align_note(s, into, group, &pairing);
    align_suspect(s, into, group, &pairing);
    *joined = pairing.verdict == PAIR_HOLDS;
    if (*joined)
        join_groups(s, into, group, &pairing.pose);
    return STATUS_OK;
}

/* Once through all groups beside the main one; *joined: one was joined to it. */
static enum status try_groups_once(struct state *s, bool *joined)
{
    size_t into = align_main(s);
    struct merged fixed;
    *joined = false;
    enum status status = align_merge(s, into, deep_share, &fixed);
    for (size_t g = 0; g < s->count && !*joined && status == STATUS_OK; g++)
        if (s->group[g] == g && g != into && align_usable(s, g))
            status = job_cancelled(s->job) ? job_fail_cancelled(s->job)
                                           : try_group(s, &fixed, into, g, joined);
    align_merged_release(&fixed);
    return status;
}

bool align_outside(const struct state *s)
{
    size_t into = align_main(s);
    for (size_t i = 0; i < s->count; i++)
        if (align_usable(s, i) && s->group[i] != into)
            return true;
    return false;
}

enum status align_try_groups(struct state *s)
{
    enum status status = STATUS_OK;
    bool joined = true;
    job_phase(s->job, "comparing once more, closely", 150, s->count);
    while (status == STATUS_OK && joined && align_usable(s, align_main(s)) && align_outside(s)) {
        status = try_groups_once(s, &joined);
        job_step(s->job, 1);
    }
    return status;
}

/* --- turned over ----------------------------------------------------------------------------- */

/* Turns the normals of a piece over. */
static enum status turn_over(struct state *s, size_t i)
{
    for (size_t k = 0; k < surfels_count(&s->all[i]); k++) {
        struct point *n = &s->all[i].normal[k];
        *n = (struct point){-n->x, -n->y, -n->z};
    }
    scan_release(&s->scan[i]);
    return make_scan(s, i);
}

/* Tries a piece turned over on the main group; turns it back if it does not fit. */
static enum status try_turned(struct state *s, size_t into, size_t i)
{
    struct merged fixed = {.part = NULL};
    char why[ALIGN_WHY];
    bool joined = false;
    memcpy(why, s->out->piece[i].why, sizeof why);
    enum status status = turn_over(s, i);
    if (status == STATUS_OK)
        status = align_merge(s, into, deep_share, &fixed);
    if (status == STATUS_OK)
        status = try_group(s, &fixed, into, i, &joined);
    align_merged_release(&fixed);
    if (status == STATUS_OK && !joined) {
        memcpy(s->out->piece[i].why, why, sizeof why);
        status = turn_over(s, i);
    }
    return status;
}

/* The clouds left out whose side had to be guessed, as if it had been guessed wrong. */
enum status align_try_turned(struct state *s)
{
    enum status status = STATUS_OK;
    for (size_t i = 0; i < s->count && status == STATUS_OK; i++) {
        size_t into = align_main(s);
        if (align_usable(s, i) && align_usable(s, into) && s->all[i].side_guessed &&
            s->group[i] == i && align_members(s, i) == 1 && i != into && i >= s->locked)
            status = try_turned(s, into, i);
    }
    return status;
}
