/* What a group looks the same moved by (after N. Mitra, L. Guibas and M. Pauly, "Partial and
 * Approximate Symmetry Detection for 3D Geometry", 2006): places of it that look alike vote for
 * motions, and the pairs of pieces that fit in several ways have told of some; those by which its
 * points then lie on themselves are such. With two motions the one after the other may be, too. */
#include "core/job.h"
#include "scan/align_parts.h"

enum {
    LANDS = 20000, /* at each scale, that places are looked for in */
    PLACES = 250,
    LIKELY = 96, /* motions by votes that are tried */
    MULTIPLIED = 4
};
static const double same_turn = 0.25, same_shift = 0.06;    /* radians; of the size: as guessed */
static const double equal_turn = 0.035, equal_shift = 0.01; /* as fitted */

static bool same(const struct state *s, const struct rigid *a, const struct rigid *b, double turn,
                 double shift)
{
    return rigid_angle(a, b) < turn && vec_length(vec_sub(a->shift, b->shift)) < shift * s->size;
}

/* Adds a motion unless one much like it is there. */
static size_t add(const struct state *s, const struct rigid *motion, double turn, double shift,
                  struct alike *list, size_t count, size_t most)
{
    for (size_t i = 0; i < count; i++)
        if (same(s, &list[i].motion, motion, turn, shift))
            return count;
    if (count < most)
        list[count++] = (struct alike){*motion, 0};
    return count;
}

/* --- suspects -------------------------------------------------------------------------------- */

void align_twist(struct state *s, size_t piece, const struct rigid *motion)
{
    struct twists *twists = &s->twists[piece];
    for (size_t i = 0; i < twists->count; i++)
        if (same(s, &twists->motion[i], motion, equal_turn, equal_shift))
            return;
    if (twists->count < TWISTS)
        twists->motion[twists->count++] = *motion;
}

void align_suspect(struct state *s, size_t a, size_t b, const struct pairing *pairing)
{
    struct rigid back = rigid_inverse(&pairing->pose);
    for (size_t i = 0; i < pairing->rivals; i++) {
        struct rigid of_b = rigid_then(&pairing->rival[i], &back);
        struct rigid of_a = rigid_then(&back, &pairing->rival[i]);
        align_twist(s, a, &of_a);
        align_twist(s, b, &of_b);
    }
}

/* What is known of the group's pieces, as motions of the group. */
static size_t add_suspects(const struct state *s, size_t group, struct alike *list, size_t count)
{
    for (size_t i = 0; i < s->count; i++) {
        struct rigid back = rigid_inverse(&s->pose[i]);
        for (size_t k = 0; k < s->twists[i].count && s->group[i] == group; k++) {
            struct rigid there = rigid_then(&back, &s->twists[i].motion[k]);
            there = rigid_then(&there, &s->pose[i]);
            count = add(s, &there, equal_turn, equal_shift, list, count, ALIKE_TRIED - LIKELY);
        }
    }
    return count;
}

/* --- votes ----------------------------------------------------------------------------------- */

static enum status match_itself(struct state *s, size_t group, struct matches *matches)
{
    const struct lands **part = scratch_new(s->count, sizeof *part);
    enum status status = part ? STATUS_OK : job_fail_memory(s->job, s->count * sizeof *part);
    for (int k = 0; k < SCALES && status == STATUS_OK; k++) {
        struct lands all;
        size_t n = 0;
        for (size_t i = 0; i < s->count; i++)
            if (s->group[i] == group) {
                s->room[n] = s->pose[i];
                part[n++] = &s->scan[i].lands[k];
            }
        status = lands_merge(part, s->room, n, LANDS, &all, s->job);
        if (status == STATUS_OK)
            status = matches_add(&all, &all, PLACES, all.radius, matches, s->job);
        lands_release(&all);
    }
    scratch_free(part);
    return status;
}

static enum status add_votes(struct state *s, size_t group, struct alike *list, size_t *count)
{
    struct matches matches = {0};
    struct guess guess[GUESSES_MOST];
    size_t guessed = 0, likely = 0;
    enum status status = match_itself(s, group, &matches);
    if (status == STATUS_OK)
        guessed = matches_group(&matches, GUESSES_MOST, guess, s->job);
    matches_release(&matches);
    if (guessed == SIZE_MAX)
        return job_status(s->job);
    for (size_t i = 0; i < guessed; i++)
        likely = add(s, &guess[i].motion, same_turn, same_shift, list + *count, likely, LIKELY);
    *count += likely;
    return status;
}

/* --- all of it ------------------------------------------------------------------------------- */

/* The group's points, thinned, as they lie. */
static enum status gather_thin(struct state *s, size_t group, struct surfels *out)
{
    size_t n = 0;
    for (size_t i = 0; i < s->count; i++)
        if (s->group[i] == group) {
            s->room[n] = s->pose[i];
            s->part[n++] = &s->scan[i].thin[0];
        }
    return surfels_merge(s->part, s->room, n, out, s->job);
}

/* The one after the other, of the first few. */
static size_t multiply(const struct state *s, const struct alike *alike, size_t count,
                       struct alike *out)
{
    size_t n = 0, few = count < MULTIPLIED ? count : MULTIPLIED;
    for (size_t i = 0; i < few * few; i++) {
        struct rigid both = rigid_then(&alike[i / few].motion, &alike[i % few].motion);
        n = add(s, &both, equal_turn, equal_shift, out, n, ALIKE_TRIED);
    }
    return n;
}

/* Adds those of the motions that were tried that are new. */
static size_t take(const struct state *s, const struct alike *tried, size_t count,
                   struct alike *alike, size_t known)
{
    for (size_t i = 0; i < count; i++) {
        size_t before = known;
        known = add(s, &tried[i].motion, equal_turn, equal_shift, alike, known, ALIKE_MOST);
        if (known > before)
            alike[before] = tried[i];
    }
    return known;
}

enum status align_alike(struct state *s, size_t group, struct alike alike[ALIKE_MOST],
                        size_t *count)
{
    struct alike tried[ALIKE_TRIED];
    struct surfels all;
    size_t left = add_suspects(s, group, tried, 0);
    *count = 0;
    enum status status = add_votes(s, group, tried, &left);
    if (status != STATUS_OK)
        return status;
    status = gather_thin(s, group, &all);
    if (status == STATUS_OK)
        status = pairing_itself(&all, tried, &left, ALIKE_MOST, s->job);
    if (status == STATUS_OK && left) {
        *count = take(s, tried, left, alike, 0);
        left = multiply(s, alike, *count, tried);
        status = pairing_itself(&all, tried, &left, ALIKE_MOST, s->job);
        *count = take(s, tried, left, alike, *count);
    }
    surfels_release(&all);
    return status;
}
