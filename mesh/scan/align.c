#include "scan/align.h"

#include <stdio.h>
#include <stdlib.h>

#include "core/job.h"
#include "scan/odd.h"
#include "scan/together.h"

enum {
    PLACES = 500,
    GUESSES = 40,
    DEEP_PLACES = 800,
    DEEP_GUESSES = 80,
    POINTS_LEAST = 60, /* of a piece that is tried */
    ODD_MOST = 3       /* pieces left out that are asked why */
};
static const double radius_share[SCALES] = {0.055, 0.11}; /* of the pieces' size: of the land */
static const double deep_share[SCALES] = {0.033, 0.07};
static const double conflict_below = 0.5, conflict_from = 0.02; /* agreement; share that faces */
static const double seen_below = 0.04, unseen_above = 0.1;      /* misses */

struct state {
    const char *const *name;
    struct surfels *all; /* one a piece; those of too few points are empty */
    struct scan *scan;   /* made from `all` while the pairs are tried */
    struct rigid *pose;  /* from a piece's coordinates to those of its group */
    size_t *group;       /* the lowest piece of the group a piece is in */
    size_t count, locked; /* the first ones are locked */
    double size;                 /* of a usual piece */
    const struct surfels **part; /* room for a group's pieces */
    struct rigid *room;          /* and their poses */
    struct alignment *out;
    struct job *job;
};

static bool usable(const struct state *s, size_t i)
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

static size_t members(const struct state *s, size_t group)
{
    size_t n = 0;
    for (size_t i = 0; i < s->count; i++)
        n += s->group[i] == group;
    return n;
}

/* The first piece that may stand for the locked ones: the lowest of their group. */
static size_t first_locked(const struct state *s)
{
    size_t i = 0;
    while (i < s->locked && !usable(s, i))
        i++;
    return i < s->locked ? i : 0;
}

/* The group of the locked pieces, or of the first one, if it has others, else the largest. */
static size_t main_group(const struct state *s)
{
    size_t best = s->group[first_locked(s)];
    if (members(s, best) < 2)
        for (size_t i = 0; i < s->count; i++)
            best = members(s, s->group[i]) > members(s, best) ? s->group[i] : best;
    return best;
}

/* --- pairs ----------------------------------------------------------------------------------- */

static void note_pair(struct state *s, size_t a, size_t b, const struct pairing *pairing)
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
    char *why = out->piece[b].why;
    if (pairing->verdict == PAIR_SLIDES)
        snprintf(why, ALIGN_WHY, "on \"%.32s\" it %s", s->name[a],
                 pairing->slide.free ? pairing->slide.text : "is held too weakly one way");
    else if (pairing->verdict == PAIR_AMBIGUOUS || pairing->verdict == PAIR_PLAIN)
        snprintf(why, ALIGN_WHY, "on \"%.32s\" %s", s->name[a], pair_words(pairing->verdict));
}

static enum status make_scans(struct state *s)
{
    double radius[SCALES];
    for (int i = 0; i < SCALES; i++)
        radius[i] = radius_share[i] * s->size;
    enum status status = STATUS_OK;
    for (size_t i = 0; i < s->count && status == STATUS_OK; i++) {
        if (usable(s, i))
            status = scan_make(&s->all[i], radius, &s->scan[i], s->job);
    }
    return status;
}

static enum status try_pairs(struct state *s)
{
    static const struct pairing_rule rule = {PLACES, GUESSES};
    size_t n = s->count;
    job_phase(s->job, "comparing pieces", 500, n * (n - 1) / 2);
    for (size_t b = 1; b < n; b++)
        for (size_t a = 0; a < b; a++) {
            struct pairing pairing;
            if (!job_step(s->job, 1))
                return job_fail_cancelled(s->job);
            if (!usable(s, a) || !usable(s, b) || s->group[a] == s->group[b])
                continue;
            enum status status = pairing_find(&s->scan[b], &s->scan[a], &rule, &pairing, s->job);
            if (status != STATUS_OK)
                return status;
            note_pair(s, a, b, &pairing);
            if (pairing.verdict == PAIR_HOLDS)
                join_pair(s, a, b, &pairing.pose);
        }
    return STATUS_OK;
}

/* --- groups as one --------------------------------------------------------------------------- */

/* The pieces of a group and their poses; returns how many. */
static size_t gather_group(const struct state *s, size_t group, const struct surfels **part,
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

struct merged { /* a group as one piece, in the group's coordinates */
    struct surfels surfels;
    struct scan scan;
};

static enum status merged_make(struct state *s, size_t group, const double share[SCALES],
                               struct merged *out)
{
    double radius[SCALES];
    for (int i = 0; i < SCALES; i++)
        radius[i] = share[i] * s->size;
    *out = (struct merged){.scan = {0}};
    size_t count = gather_group(s, group, s->part, s->room);
    enum status status = surfels_merge(s->part, s->room, count, &out->surfels, s->job);
    if (status == STATUS_OK)
        status = scan_make(&out->surfels, radius, &out->scan, s->job);
    return status;
}

static void merged_release(struct merged *merged)
{
    scan_release(&merged->scan);
    surfels_release(&merged->surfels);
}

/* Tries one group on the main one; *joined: it worked. The merged coordinates are the groups' own.
 */
static enum status try_group(struct state *s, const struct merged *fixed, size_t into, size_t group,
                             bool *joined)
{
    static const struct pairing_rule rule = {DEEP_PLACES, DEEP_GUESSES};
    struct merged moving;
    struct pairing pairing;
    *joined = false;
    enum status status = merged_make(s, group, deep_share, &moving);
    if (status == STATUS_OK)
        status = pairing_find(&moving.scan, &fixed->scan, &rule, &pairing, s->job);
    merged_release(&moving);
    if (status != STATUS_OK)
        return status;
    note_pair(s, into, group, &pairing);
    *joined = pairing.verdict == PAIR_HOLDS;
    if (*joined)
        join_groups(s, into, group, &pairing.pose);
    return STATUS_OK;
}

/* Once through all groups beside the main one; *joined: one was joined to it. */
static enum status try_groups_once(struct state *s, bool *joined)
{
    size_t into = main_group(s);
    struct merged fixed;
    *joined = false;
    enum status status = merged_make(s, into, deep_share, &fixed);
    for (size_t g = 0; g < s->count && !*joined && status == STATUS_OK; g++)
        if (s->group[g] == g && g != into && usable(s, g))
            status = job_cancelled(s->job) ? job_fail_cancelled(s->job)
                                           : try_group(s, &fixed, into, g, joined);
    merged_release(&fixed);
    return status;
}

static bool any_outside(const struct state *s)
{
    size_t into = main_group(s);
    for (size_t i = 0; i < s->count; i++)
        if (usable(s, i) && s->group[i] != into)
            return true;
    return false;
}

static enum status try_groups(struct state *s)
{
    enum status status = STATUS_OK;
    bool joined = true;
    job_phase(s->job, "comparing once more, closely", 250, s->count);
    while (status == STATUS_OK && joined && usable(s, main_group(s)) && any_outside(s)) {
        status = try_groups_once(s, &joined);
        job_step(s->job, 1);
    }
    return status;
}

/* --- all together ---------------------------------------------------------------------------- */

static enum status fit_group(struct state *s, size_t group)
{
    size_t count = gather_group(s, group, s->part, s->room), n = 0;
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
                note_pair(s, a, b, &pairing);
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
static bool holds(const struct state *s, size_t group, size_t i)
{
    for (size_t k = 0; k < s->out->pairs; k++) {
        const struct align_pair *pair = &s->out->pair[k];
        if (within_group(s, group, pair) && (pair->a == i || pair->b == i) &&
            pair->verdict == PAIR_HOLDS)
            return true;
    }
    return false;
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

/* A piece that stays whatever the others say. */
static bool stays(const struct state *s, size_t group, size_t i)
{
    return i == group || i < s->locked;
}

/* A piece that contradicts another: of the two the one held less, but never the anchor or a locked
 * one; or one that nothing holds; count: there is none. */
static size_t misplaced(const struct state *s, size_t group)
{
    bool all_seen = sees_all(s, group);
    for (size_t k = 0; k < s->out->pairs; k++) {
        const struct align_pair *pair = &s->out->pair[k];
        if (!within_group(s, group, pair) || !contradicts(pair, all_seen) ||
            (stays(s, group, pair->a) && stays(s, group, pair->b)))
            continue;
        bool first =
            !stays(s, group, pair->a) && held(s, group, pair->a) < held(s, group, pair->b);
        return stays(s, group, pair->b) || first ? pair->a : pair->b;
    }
    for (size_t i = 0; i < s->count; i++)
        if (s->group[i] == group && !stays(s, group, i) && !holds(s, group, i))
            return i;
    return s->count;
}

/* Fits a group together; takes out, one by one, pieces that then contradict the others. */
static enum status settle_group(struct state *s, size_t group)
{
    enum status status = STATUS_OK;
    job_phase(s->job, "fitting all together", 150, 0);
    while (status == STATUS_OK && members(s, group) > 1) {
        status = fit_group(s, group);
        if (status == STATUS_OK)
            status = judge_group(s, group);
        size_t out = status == STATUS_OK ? misplaced(s, group) : s->count;
        if (out == s->count)
            break;
        snprintf(s->out->piece[out].why, ALIGN_WHY,
                 "where it seemed to fit it contradicts other pieces or is held too weakly");
        s->group[out] = out;
        s->pose[out] = rigid_rest();
    }
    return status;
}

/* --- odd ones -------------------------------------------------------------------------------- */

static void say_odd(char *why, const struct odd *odd)
{
    if (odd->mirrored)
        snprintf(why, ALIGN_WHY, "it is mirrored: its mirror image would fit");
    else if (odd->scale > 0)
        snprintf(why, ALIGN_WHY, "it is of another scale: it would fit when scaled by %.6g",
                 odd->scale);
}

/* Asks of a few of the pieces left out whether they are mirrored or of another scale. */
static enum status ask_odd_ones(struct state *s, size_t group)
{
    struct merged model;
    double radius[SCALES];
    size_t asked = 0;
    job_phase(s->job, "asking why pieces do not fit", 100, ODD_MOST);
    if (!usable(s, group) || !any_outside(s))
        return STATUS_OK;
    for (int i = 0; i < SCALES; i++)
        radius[i] = radius_share[i] * s->size;
    enum status status = merged_make(s, group, radius_share, &model);
    for (size_t i = 0; i < s->count && asked < ODD_MOST && status == STATUS_OK; i++) {
        struct odd odd;
        if (!usable(s, i) || s->group[i] == group)
            continue;
        status = job_step(s->job, 1)
                     ? odd_find(&s->all[i], &model.scan, s->size, radius, &odd, s->job)
                     : job_fail_cancelled(s->job);
        if (status == STATUS_OK)
            say_odd(s->out->piece[i].why, &odd);
        asked++;
    }
    merged_release(&model);
    return status;
}

/* --- all of it ------------------------------------------------------------------------------- */

static int ascending(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

static enum status make_surfels(struct state *s, const struct mesh *const *mesh)
{
    double *size = malloc(s->count * sizeof *size);
    size_t n = 0;
    enum status status = size ? STATUS_OK : job_fail_memory(s->job, s->count * sizeof *size);
    job_phase(s->job, "reading the surfaces", 200, s->count);
    for (size_t i = 0; i < s->count && status == STATUS_OK; i++) {
        status = job_step(s->job, 1) ? surfels_make(mesh[i], &s->all[i], s->job)
                                     : job_fail_cancelled(s->job);
        s->group[i] = i;
        s->pose[i] = rigid_rest();
        if (status == STATUS_OK && usable(s, i))
            size[n++] = s->all[i].size;
        else if (status == STATUS_OK)
            snprintf(s->out->piece[i].why, ALIGN_WHY, "it has too little surface (%zu points)",
                     surfels_count(&s->all[i]));
    }
    if (status == STATUS_OK && n) {
        qsort(size, n, sizeof *size, ascending);
        s->size = size[n / 2];
    }
    free(size);
    return status;
}

static void set_results(struct state *s, size_t group)
{
    struct alignment *out = s->out;
    out->anchor = group;
    for (size_t i = 0; i < s->count; i++) {
        struct aligned *piece = &out->piece[i];
        piece->placed = s->group[i] == group && members(s, group) > 1;
        piece->motion = rigid_rest();
        out->placed += piece->placed;
        if (!piece->placed && !piece->why[0])
            snprintf(piece->why, ALIGN_WHY, "nothing in common with the others was found");
        if (!piece->placed)
            continue;
        piece->why[0] = '\0';
        if (!stays(s, group, i))
            piece->motion = rigid_in_world(&s->pose[i], s->all[i].middle, s->all[group].middle);
    }
}

/* The locked pieces are one group from the beginning, as they lie. */
static void join_locked(struct state *s)
{
    size_t first = first_locked(s);
    for (size_t i = first + 1; i < s->locked; i++)
        if (usable(s, i)) {
            s->group[i] = first;
            s->pose[i].shift = vec_sub(s->all[i].middle, s->all[first].middle);
        }
}

static enum status find_all(struct state *s, const struct mesh *const *mesh)
{
    enum status status = make_surfels(s, mesh);
    if (status == STATUS_OK) {
        join_locked(s);
        status = make_scans(s);
    }
    if (status == STATUS_OK)
        status = try_pairs(s);
    if (status == STATUS_OK)
        status = try_groups(s);
    if (status == STATUS_OK)
        status = settle_group(s, main_group(s));
    if (status == STATUS_OK)
        status = ask_odd_ones(s, main_group(s));
    if (status == STATUS_OK)
        set_results(s, main_group(s));
    return status;
}

static void state_release(struct state *s)
{
    for (size_t i = 0; i < s->count && s->all; i++) {
        if (s->scan)
            scan_release(&s->scan[i]);
        surfels_release(&s->all[i]);
    }
    free(s->all);
    free(s->scan);
    free(s->pose);
    free(s->group);
    free(s->part);
    free(s->room);
}

enum status align_find(const struct mesh *const *mesh, const char *const *name, size_t count,
                       size_t locked, struct alignment *out, struct job *job)
{
    struct state s = {.name = name, .count = count, .locked = locked, .out = out, .job = job};
    *out = (struct alignment){.pieces = count};
    s.all = calloc(count + 1, sizeof *s.all);
    s.scan = calloc(count + 1, sizeof *s.scan);
    s.pose = calloc(count + 1, sizeof *s.pose);
    s.group = calloc(count + 1, sizeof *s.group);
    s.part = calloc(count + 1, sizeof *s.part);
    s.room = calloc(count + 1, sizeof *s.room);
    out->piece = calloc(count + 1, sizeof *out->piece);
    out->pair = calloc(count * count + 1, sizeof *out->pair);
    bool room = s.all && s.scan && s.pose && s.group && s.part && s.room && out->piece && out->pair;
    enum status status = room ? STATUS_OK : job_fail_memory(job, count * sizeof *s.scan);
    if (status == STATUS_OK && count > 0)
        status = find_all(&s, mesh);
    state_release(&s);
    return status;
}

void align_release(struct alignment *alignment)
{
    free(alignment->piece);
    free(alignment->pair);
    *alignment = (struct alignment){0};
}
