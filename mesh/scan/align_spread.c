/* Which of equal poses pieces take. Best fit lays views of what looks the same turned on one
 * another, so that they show one side of it several times and the rest not at all. They are moved
 * on, one by one, to where they show most of what no other shows, and enough of them still lies on
 * others. */
#include <stdlib.h>

#include "core/job.h"
#include "scan/align_parts.h"
#include "scan/fit.h"

enum {
    ROUND_TURNS = 35,
    BALL_TURNS = 64,
    MOTIONS = BALL_TURNS + ALIKE_MOST,
    ROUNDS = 4,
    TRIES = 8
};
static const double known_least = 0.5; /* share of a piece, put elsewhere, where surface is known */
static const double held_least = 0.3;  /* share of a piece that others show too */
static const double gain_least = 0.05; /* share more that none shows, for a move */

struct spread {
    struct state *s;
    size_t group;
    struct rigid motion[MOTIONS];
    size_t motions;
};

/* --- what it looks the same moved by ---------------------------------------------------------- */

/* Turns by ten degrees more and more about an axis; or half turns about axes spread over all
 * directions through a place, which bring any direction to all others. */
static void add_turns(struct spread *r, const struct slide *slide)
{
    const double golden = 2.39996322972865332; /* radians: the golden angle */
    size_t count = slide->round == 1 ? ROUND_TURNS : slide->round == 3 ? BALL_TURNS : 0;
    for (size_t i = 0; i < count; i++) {
        double z = ((double)i + 0.5) / BALL_TURNS, flat = sqrt(1 - z * z);
        struct vec axis = vec(flat * cos(golden * (double)i), flat * sin(golden * (double)i), z);
        r->motion[r->motions++] =
            slide->round == 1
                ? align_turn(slide->centre, slide->axis, (double)(i + 1) * 0.17453292519943)
                : align_turn(slide->centre, axis, 3.14159265358979324);
    }
}

/* Whether the group as a whole is round: how its points answer to motions of themselves (slippage;
 * after N. Gelfand and L. Guibas, "Shape Segmentation Using Local Slippage Analysis", 2004). */
static enum status find_round(struct spread *r)
{
    struct state *s = r->s;
    struct surfels all;
    struct rigid rest = rigid_rest();
    struct links links;
    struct touch touch;
    struct slide slide;
    size_t count = align_gather(s, r->group, s->part, s->room);
    enum status status = surfels_merge(s->part, s->room, count, &all, s->job);
    if (status != STATUS_OK)
        return status;
    status = links_make(&all, 10000, &links, s->job);
    if (status == STATUS_OK) {
        double tolerance = fit_tolerance(&all, &all);
        links_find(&links, &all, &all, &rest, 2 * tolerance, job_threads(s->job));
        links_judge(&links, &all, &all, &rest, tolerance, &touch);
        slide_find(&touch, &slide);
        add_turns(r, &slide);
        links_release(&links);
    }
    surfels_release(&all);
    return status;
}

static enum status find_motions(struct spread *r)
{
    struct alike alike[ALIKE_MOST];
    size_t count = 0;
    enum status status = find_round(r);
    if (status == STATUS_OK)
        status = align_alike(r->s, r->group, alike, &count);
    for (size_t i = 0; i < count && status == STATUS_OK; i++)
        r->motion[r->motions++] = alike[i].motion;
    return status;
}

/* --- moving on -------------------------------------------------------------------------------- */

struct place { /* where a piece could be */
    struct rigid pose;
    double shows; /* share that no other shows */
};

static int most_first(const void *a, const void *b)
{
    const struct place *x = a, *y = b;
    return (x->shows < y->shows) - (x->shows > y->shows);
}

/* Where piece i would show more, the most first. */
static enum status list_places(struct spread *r, size_t i, struct place place[MOTIONS],
                               size_t *count)
{
    struct state *s = r->s;
    struct cover now, there;
    *count = 0;
    enum status status = align_cover(s, r->group, i, &s->pose[i], &now);
    for (size_t m = 0; m < r->motions && status == STATUS_OK; m++) {
        struct rigid pose = rigid_then(&s->pose[i], &r->motion[m]);
        status = align_cover(s, r->group, i, &pose, &there);
        if (there.others >= held_least && there.known >= known_least &&
            there.others < now.others - gain_least)
            place[(*count)++] = (struct place){pose, 1 - there.others};
    }
    qsort(place, *count, sizeof *place, most_first);
    return status;
}

static enum status move_on(struct spread *r, size_t i, bool *moved)
{
    struct state *s = r->s;
    const struct rigid present = s->pose[i];
    struct place place[MOTIONS];
    size_t count;
    bool equal = false;
    enum status status = list_places(r, i, place, &count);
    for (size_t k = 0; k < count && k < TRIES && !equal && status == STATUS_OK; k++) {
        status = align_equal(s, r->group, i, &place[k].pose, &equal);
        if (!equal || status != STATUS_OK)
            continue;
        s->pose[i] = place[k].pose;
        status = align_holds_on_all(s, r->group, i, &equal);
        if (!equal)
            s->pose[i] = present;
    }
    if (equal)
        align_say_taken(s, i, NULL);
    *moved = *moved || equal;
    return status;
}

enum status align_spread(struct state *s, size_t group)
{
    struct spread r = {.s = s, .group = group};
    bool moved = true, any = false;
    if (align_members(s, group) < 2)
        return STATUS_OK;
    enum status status = find_motions(&r);
    for (int round = 0; round < ROUNDS && moved && status == STATUS_OK; round++) {
        moved = false;
        for (size_t i = 0; i < s->count && r.motions && status == STATUS_OK; i++)
            if (s->group[i] == group && !align_stays(s, group, i))
                status = move_on(&r, i, &moved);
        any = any || moved;
    }
    return status == STATUS_OK && any ? align_settle(s, group) : status;
}
