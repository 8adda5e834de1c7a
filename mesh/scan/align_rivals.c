/* Whether the pieces of a group could lie to each other otherwise than they were found: what the
 * group looks the same moved by (align_alike) is tried. A part of the group is thought of as moved
 * so, and unless somewhere its surfaces or its cameras then contradict those of the rest, nothing
 * tells which of the two is right. Overlap says nothing: views 144 degrees apart of what looks the
 * same turned by 180 lie on each other best 36 degrees apart. */
#include <stdio.h>
#include <string.h>

#include "core/job.h"
#include "scan/align_parts.h"

enum {
    GLANCE = 250, /* points that a rival is judged by at first, and then: */
    LOOK = 2000,  /* of few pieces */
    LOOKS = 12000 /* of a piece on all others */
};
/* Shares of a scan that refute, beyond twice what speaks against the present pose (or is usual
 * here, where that is more). First a pair's, then all pairs' between those that move and those that
 * stay, together. True symmetries of open files' views, knots among them, came to the twofold and
 * 0.006 more; a camera known but nearly to misses of 0.052. */
static const double pair_differs = 0.03, pair_misses = 0.06, all_differ = 0.01;
/* Between flat faces nearly any pose that puts planes on planes agrees in most: what is left tells,
 * so that it must be little, beyond twice what is there now. */
static const double faceted_from = 0.6, faceted_differs = 0.01, faceted_misses = 0.005;
static const double at_a_glance = 0.1;
static const double through_most = 0.01; /* true poses and true symmetries: less than 0.001 */
/* Where no camera tells what is not there from what was not seen, overlap speaks. */
static const double unseen_overlaps = 0.9;
static const double share_from = 0.02, agree_from = 0.75; /* as of any pair (pairing.c) */
static const double share_of_now = 0.1; /* and of what overlaps now: true symmetries had 0.13 */

/* --- trying ---------------------------------------------------------------------------------- */

struct weighed { /* of two members, when the one moves and the other stays */
    double overlap, differ;
    struct doubt now;
    bool known, refuted;
};

struct rivals {
    struct state *s;
    size_t *member, count;
    struct alike alike[ALIKE_MOST];
    size_t motions;
    double usual;            /* share that differs, of pairs as they lie */
    struct weighed *weighed; /* count squared: the moving one's row */
    unsigned char *moves;    /* one a member: it moves with the one that is asked about */
    unsigned char *apart;    /* by which motion (from 1) two may lie otherwise; 0: they are tied */
};

/* The pose of one member in another's coordinates when it moves so. */
static struct rigid pose_between(const struct state *s, size_t moving, size_t fixed,
                                 const struct rigid *motion)
{
    struct rigid there = rigid_then(&s->pose[moving], motion);
    struct rigid back = rigid_inverse(&s->pose[fixed]);
    return rigid_then(&there, &back);
}

/* What usually speaks against pairs as they lie, also against those of pieces that went since: on
 * thin and round things more than on others. */
static double usual_doubt(const struct state *s)
{
    double sum = 0, count = 0;
    for (size_t k = 0; k < s->out->pairs; k++) {
        const struct align_pair *pair = &s->out->pair[k];
        if (pair->verdict != PAIR_HOLDS && pair->verdict != PAIR_SLIDES)
            continue;
        sum += pair->facing - pair->overlap;
        count++;
    }
    return count > 0 ? sum / count : 0;
}

/* What speaks against two members as they lie, by what was noted of them; `usual` or more. */
static struct doubt doubt_now(const struct rivals *r, size_t i, size_t j, double usual)
{
    const struct alignment *out = r->s->out;
    for (size_t k = 0; k < out->pairs; k++) {
        const struct align_pair *pair = &out->pair[k];
        if ((pair->a == i && pair->b == j) || (pair->a == j && pair->b == i))
            return (struct doubt){pair->overlap, fmax(usual, pair->facing - pair->overlap),
                                  fmax(0, pair->misses)};
    }
    return (struct doubt){0, usual, 0};
}

/* Whether a camera of one looks through the other at a pose, clearly more than as they lie. */
static bool looks_through(const struct rivals *r, size_t moving, size_t fixed,
                          const struct rigid *pose)
{
    const struct scan *a = &r->s->scan[moving], *b = &r->s->scan[fixed];
    const struct rigid rest = rigid_rest();
    double through = pairing_through(a, b, pose, LOOK);
    if (through <= through_most || job_cancelled(r->s->job))
        return false;
    struct rigid present = pose_between(r->s, moving, fixed, &rest);
    return through > 2 * pairing_through(a, b, &present, LOOK) + through_most;
}

/* What speaks against member i where it moves so and j stays: at a glance if that will do. */
static enum status weigh(struct rivals *r, const struct alike *alike, size_t i, size_t j)
{
    struct state *s = r->s;
    size_t moving = r->member[i], fixed = r->member[j], looks = LOOKS / r->count;
    struct weighed *weighed = &r->weighed[i * r->count + j];
    if (weighed->known)
        return STATUS_OK;
    struct rigid pose = pose_between(s, moving, fixed, &alike->motion);
    bool flat = alike->facets > faceted_from;
    struct doubt now = doubt_now(r, moving, fixed, flat ? 0 : r->usual), other = {0, 0, 0};
    double differs = 2 * now.differ + (flat ? faceted_differs : pair_differs);
    double misses = 2 * now.misses + (flat ? faceted_misses : pair_misses);
    enum status status = STATUS_OK;
    *weighed = (struct weighed){0, 0, now, true, moving < s->locked && fixed < s->locked};
    looks = looks < GLANCE ? GLANCE : looks > LOOK ? LOOK : looks;
    for (int look = 0; look < 2 && !weighed->refuted && status == STATUS_OK; look++) {
        status = pairing_doubt(&s->scan[moving], &s->scan[fixed], &pose, look ? looks : GLANCE,
                               &other, s->job);
        weighed->overlap = other.overlap;
        weighed->differ = other.differ;
        weighed->refuted = other.differ > differs + (look ? 0 : at_a_glance) ||
                           other.misses > misses + (look ? 0 : at_a_glance);
        if (other.misses < 0 && other.overlap < unseen_overlaps * now.overlap)
            weighed->refuted = true;
    }
    weighed->refuted = weighed->refuted || looks_through(r, moving, fixed, &pose);
    return job_cancelled(s->job) ? job_fail_cancelled(s->job) : status;
}

struct sum { /* of weighed pairs */
    double overlap, differ;
    struct doubt now;
};

/* Adds what member j does to those that move (`back`: j moves, and those stay). *refuted: it must
 * move with them. */
static enum status add_pairs(struct rivals *r, const struct alike *alike, bool back, size_t j,
                             struct sum *sum, bool *refuted)
{
    enum status status = STATUS_OK;
    *refuted = false;
    for (size_t i = 0; i < r->count && !*refuted && status == STATUS_OK; i++) {
        size_t from = back ? j : i, to = back ? i : j;
        const struct weighed *weighed = &r->weighed[from * r->count + to];
        if (!r->moves[i])
            continue;
        status = weigh(r, alike, from, to);
        *refuted = weighed->refuted;
        sum->overlap += weighed->overlap;
        sum->now.overlap += weighed->now.overlap;
        sum->now.differ += weighed->now.differ;
        sum->differ += weighed->differ;
    }
    return status;
}

/* Whether two sides of a group fit as well as they do now. */
static bool as_well(const struct sum *sum)
{
    return sum->differ <= 2 * sum->now.differ + all_differ &&
           sum->overlap >= fmax(share_from, share_of_now * sum->now.overlap) &&
           sum->overlap >= agree_from * (sum->overlap + sum->differ);
}

/* Who next must move with those that do (`back`: stay with those that stay): one that contradicts
 * one of them, or, where the sides do not fit as well, whoever adds the most to that; count:
 * nobody, so that nothing tells. */
static enum status who_follows(struct rivals *r, const struct alike *alike, bool back, size_t *out)
{
    size_t n = r->count;
    struct sum all = {0, 0, {0, 0, 0}};
    double most = -INFINITY;
    *out = n;
    for (size_t j = 0; j < n; j++) {
        struct sum sum = {0, 0, {0, 0, 0}};
        bool refuted;
        if (r->moves[j])
            continue;
        enum status status = add_pairs(r, alike, back, j, &sum, &refuted);
        if (refuted || sum.differ - 2 * sum.now.differ > most) {
            most = sum.differ - 2 * sum.now.differ;
            *out = j;
        }
        if (refuted || status != STATUS_OK)
            return status;
        all.overlap += sum.overlap;
        all.now.overlap += sum.now.overlap;
        all.now.differ += sum.now.differ;
        all.differ += sum.differ;
    }
    *out = as_well(&all) ? n : *out;
    return STATUS_OK;
}

/* Marks the members of both sides as apart. */
static void set_apart(struct rivals *r, size_t m)
{
    size_t n = r->count;
    for (size_t k = 0; k < n * n; k++)
        if (r->moves[k / n] != r->moves[k % n] && !r->apart[k])
            r->apart[k] = (unsigned char)(m + 1);
}

/* Marks who may lie otherwise to whom by a motion. */
static enum status try_motion(struct rivals *r, size_t m)
{
    size_t n = r->count;
    enum status status = STATUS_OK;
    for (size_t k = 0; k < n * n; k++)
        r->weighed[k].known = false;
    for (size_t k = 0; k < 2 * n && status == STATUS_OK; k++) {
        size_t moving = 1, next = k / 2;
        memset(r->moves, 0, n);
        r->moves[next] = 1;
        for (; moving < n && next < n && status == STATUS_OK; moving++) {
            status = who_follows(r, &r->alike[m], k % 2, &next);
            if (next < n)
                r->moves[next] = 1;
        }
        if (status == STATUS_OK && next == n)
            set_apart(r, m);
    }
    return status;
}

/* Whether all may lie otherwise to one another: then no more motions need be tried. */
static bool all_apart(const struct rivals *r)
{
    for (size_t k = 0; k < r->count * r->count; k++)
        if (!r->apart[k] && k / r->count != k % r->count)
            return false;
    return true;
}

/* --- what comes of it ------------------------------------------------------------------------ */

/* "turned by 90 degrees about z", "moved by 12.5 mm along x". */
static void name_motion(const struct rigid *motion, char *out, size_t size)
{
    struct rigid rest = rigid_rest();
    char axis[SLIDE_AXIS];
    double angle = rigid_angle(motion, &rest), most = 0;
    struct vec about = vec_unit(motion->shift);
    if (angle < 0.09) {
        slide_axis(about, axis);
        snprintf(out, size, "moved by %.3g mm along %s", vec_length(motion->shift), axis);
        return;
    }
    for (int k = 0; k < 3; k++) { /* turn + its inverse - 2 cos angle: columns along the axis */
        const double(*t)[3] = motion->turn;
        double c = 1 + 2 * cos(angle), d = (c - 1) / 2;
        struct vec column =
            vec((t[0][k] + t[k][0]) / 2 - (k == 0) * d, (t[1][k] + t[k][1]) / 2 - (k == 1) * d,
                (t[2][k] + t[k][2]) / 2 - (k == 2) * d);
        if (vec_length(column) > most) {
            most = vec_length(column);
            about = vec_unit(column);
        }
    }
    slide_axis(about, axis);
    snprintf(out, size, "turned by %.0f degrees about %s", angle * 57.29577951, axis);
}

static void say_why(struct rivals *r, size_t i, size_t motion)
{
    struct state *s = r->s;
    char how[80];
    name_motion(&r->alike[motion].motion, how, sizeof how);
    snprintf(s->out->piece[r->member[i]].why, ALIGN_WHY, "it fits the others as well %s", how);
    s->fits[r->member[i]] = true;
}

/* What may lie otherwise by a motion looks the same moved so; less of the group may not show it. */
static void remember(struct rivals *r, size_t m)
{
    struct state *s = r->s;
    for (size_t i = 0; i < r->count; i++) {
        struct rigid back = rigid_inverse(&s->pose[r->member[i]]);
        struct rigid there = rigid_then(&s->pose[r->member[i]], &r->alike[m].motion);
        there = rigid_then(&there, &back);
        align_twist(s, r->member[i], &there);
    }
}

/* Whether a member is apart from none of a new group. */
static bool tied(const struct rivals *r, size_t i, size_t group)
{
    for (size_t k = 0; k < i; k++)
        if (r->s->group[r->member[k]] == group && r->apart[i * r->count + k])
            return false;
    return true;
}

/* Those tied to one another stay together, as groups of their own, in the coordinates of the
 * lowest. */
static void regroup(struct rivals *r)
{
    struct state *s = r->s;
    for (size_t i = 0; i < r->count; i++) {
        size_t piece = r->member[i], k = 0;
        while (k < i && (s->group[r->member[k]] != r->member[k] || !tied(r, i, r->member[k])))
            k++;
        s->group[piece] = r->member[k];
    }
    for (size_t i = r->count; i-- > 0;) {
        struct rigid back = rigid_inverse(&s->pose[s->group[r->member[i]]]);
        s->pose[r->member[i]] = s->group[r->member[i]] == r->member[i]
                                    ? s->pose[r->member[i]]
                                    : rigid_then(&s->pose[r->member[i]], &back);
    }
    for (size_t i = 0; i < r->count; i++)
        if (s->group[r->member[i]] == r->member[i])
            s->pose[r->member[i]] = rigid_rest();
}

static bool cut_group(struct rivals *r)
{
    size_t n = r->count;
    bool used[ALIKE_MOST + 1] = {false}, cut = false;
    for (size_t i = 0; i < n; i++)
        for (size_t j = n; j-- > 0;)
            if (r->apart[i * n + j]) {
                used[r->apart[i * n + j]] = cut = true;
                say_why(r, i, r->apart[i * n + j] - 1U);
            }
    for (size_t m = 0; m < ALIKE_MOST; m++)
        if (used[m + 1])
            remember(r, m);
    if (cut)
        regroup(r);
    return cut;
}

enum status align_rivals(struct state *s, size_t group, bool *cut)
{
    size_t n = align_members(s, group);
    *cut = false;
    job_phase(s->job, "looking for other ways to fit", 100, 0);
    if (n < 2)
        return STATUS_OK;
    struct rivals r = {.s = s, .usual = usual_doubt(s), .member = scratch_new(n, sizeof *r.member)};
    r.weighed = scratch_new(n * n, sizeof *r.weighed);
    r.apart = scratch_new(n * n + n, 1);
    enum status status = r.member && r.weighed && r.apart
                             ? STATUS_OK
                             : job_fail_memory(s->job, n * n * sizeof *r.weighed);
    if (status == STATUS_OK) {
        memset(r.apart, 0, n * n);
        r.moves = r.apart + n * n;
        for (size_t i = 0; i < s->count; i++)
            if (s->group[i] == group)
                r.member[r.count++] = i;
        status = align_alike(s, group, r.alike, &r.motions);
    }
    for (size_t m = 0; m < r.motions && status == STATUS_OK && !all_apart(&r); m++)
        status = try_motion(&r, m);
    if (status == STATUS_OK)
        *cut = cut_group(&r);
    scratch_free(r.member);
    scratch_free(r.weighed);
    scratch_free(r.apart);
    return status;
}
