#include <stdio.h>

#include "core/job.h"
#include "scan/align_parts.h"
#include "scan/together.h"

static const double conflict_below = 0.5, conflict_from = 0.02; /* agreement; share that faces */
static const double seen_below = 0.04, unseen_above = 0.1;      /* misses */

/* --- all together ---------------------------------------------------------------------------- */

static enum status fit_group(struct state *s, size_t group)
{
    size_t count = align_gather(s, group, s->part, s->room), n = 0;
    double spacing = 0;
    for (size_t i = 0; i < count; i++)
        spacing = fmax(spacing, s->part[i]->spacing);
    size_t fixed = 0; /* the locked ones are the group's first */
    for (size_t i = 0; i < s->locked; i++)
        fixed += s->group[i] == group;
    enum status status =
        together_fit(s->part, count, fixed ? fixed : 1, 4 * spacing, s->room, s->job);
    for (size_t i = 0; i < s->count && status == STATUS_OK; i++)
        if (s->group[i] == group)
            s->pose[i] = s->room[n++];
    return status;
}

/* Judges all pairs of a group as they lie now. */
static enum status judge_group(struct state *s, size_t group)
{
    enum status status = STATUS_OK;
    for (size_t b = 1; b < s->count; b++)
        for (size_t a = 0; a < b && status == STATUS_OK; a++) {
            if (s->group[a] != group || s->group[b] != group)
                continue;
            struct rigid back = rigid_inverse(&s->pose[a]);
            struct pairing pairing = {.pose = rigid_then(&s->pose[b], &back)};
            status = pairing_judge(&s->scan[b], &s->scan[a], &pairing, s->job);
            if (status == STATUS_OK)
                align_note(s, a, b, &pairing);
        }
    return status;
}

static bool within_group(const struct state *s, size_t group, const struct align_pair *pair)
{
    return s->group[pair->a] == group && s->group[pair->b] == group;
}

/* The share of piece i that lies on others, by the pairs that agree. */
static double held(const struct state *s, size_t group, size_t i)
{
    double sum = 0;
    for (size_t k = 0; k < s->out->pairs; k++) {
        const struct align_pair *pair = &s->out->pair[k];
        if (within_group(s, group, pair) && (pair->a == i || pair->b == i) &&
            pair->agreement >= conflict_below)
            sum += pair->overlap;
    }
    return sum;
}

/* Whether some pair holds piece i firmly. */
static bool pair_holds(const struct state *s, size_t group, size_t i)
{
    for (size_t k = 0; k < s->out->pairs; k++) {
        const struct align_pair *pair = &s->out->pair[k];
        if (within_group(s, group, pair) && (pair->a == i || pair->b == i) &&
            pair->verdict == PAIR_HOLDS)
            return true;
    }
    return false;
}

/* Whether the others of the group, as one, hold piece i firmly: of flat faces each of them may
 * share too few with it, but all together enough. */
static enum status holds_on_all(struct state *s, size_t group, size_t i, bool *holds)
{
    struct merged rest;
    s->group[i] = s->count; /* none, for the while */
    enum status status = align_merge(s, group, NULL, &rest);
    s->group[i] = group;
    struct pairing pairing = {.pose = s->pose[i]};
    if (status == STATUS_OK)
        status = pairing_judge(&s->scan[i], &rest.scan, &pairing, s->job);
    align_merged_release(&rest);
    *holds = status == STATUS_OK && pairing.verdict == PAIR_HOLDS;
    return status;
}

/* Whether most pairs of a group see all they should of each other: then one that does not is wrong.
 */
static bool sees_all(const struct state *s, size_t group)
{
    size_t seen = 0, known = 0;
    for (size_t k = 0; k < s->out->pairs; k++)
        if (within_group(s, group, &s->out->pair[k]) && s->out->pair[k].misses >= 0) {
            known++;
            seen += s->out->pair[k].misses < seen_below;
        }
    return known > 0 && 2 * seen > known;
}

/* Whether the two pieces contradict each other: where they face each other, or by what one camera
 * sees and the other does not. */
static bool contradicts(const struct align_pair *pair, bool all_seen)
{
    if (pair->facing >= conflict_from && pair->agreement < conflict_below)
        return true;
    return all_seen && pair->misses > unseen_above;
}

bool align_stays(const struct state *s, size_t group, size_t i)
{
    return i == group || i < s->locked;
}

/* A piece that contradicts another: of the two the one held less, but never the anchor or a locked
 * one; count: there is none. */
static size_t contradicted(const struct state *s, size_t group)
{
    bool all_seen = sees_all(s, group);
    for (size_t k = 0; k < s->out->pairs; k++) {
        const struct align_pair *pair = &s->out->pair[k];
        bool a_stays = align_stays(s, group, pair->a), b_stays = align_stays(s, group, pair->b);
        if (!within_group(s, group, pair) || !contradicts(pair, all_seen) || (a_stays && b_stays))
            continue;
        bool first = !a_stays && held(s, group, pair->a) < held(s, group, pair->b);
        return b_stays || first ? pair->a : pair->b;
    }
    return s->count;
}

/* A piece that no other holds, nor all others as one; count: there is none. */
static enum status find_loose(struct state *s, size_t group, size_t *out)
{
    enum status status = STATUS_OK;
    bool holds = true;
    size_t i = 0;
    for (; i < s->count && holds && status == STATUS_OK; i++)
        if (s->group[i] == group && !align_stays(s, group, i) && !pair_holds(s, group, i))
            status = holds_on_all(s, group, i, &holds);
    *out = holds ? s->count : i - 1;
    return status;
}

enum status align_settle(struct state *s, size_t group)
{
    enum status status = STATUS_OK;
    job_phase(s->job, "fitting all together", 100, 0);
    while (status == STATUS_OK && align_members(s, group) > 1) {
        status = fit_group(s, group);
        if (status == STATUS_OK)
            status = judge_group(s, group);
        size_t out = status == STATUS_OK ? contradicted(s, group) : s->count;
        if (status == STATUS_OK && out == s->count)
            status = find_loose(s, group, &out);
        if (status != STATUS_OK || out == s->count)
            break;
        snprintf(s->out->piece[out].why, ALIGN_WHY,
                 "where it seemed to fit it contradicts other pieces or is held too weakly");
        s->group[out] = out;
        s->pose[out] = rigid_rest();
    }
    return status;
}
