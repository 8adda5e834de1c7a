/* Whether a piece belongs elsewhere as well, for the shape: put to both places at once it
 * contradicts neither itself nor any other piece. Then one and the same shape explains both, so
 * that neither is wrong for it; where the piece there contradicts the piece here only one can be
 * right, and nothing tells which. */
#include <stdio.h>

#include "core/job.h"
#include "scan/align_parts.h"

enum {
    LOOK = 2000, /* points that are judged by */
    COVER = 400  /* that coverage is */
};
static const double round_step = 0.4; /* radians, for turns about what is round */
/* Beyond twice what is there now; true symmetries came to 0.006, 0.052 and 0.001. */
static const double differs = 0.006, misses_most = 0.06, through_most = 0.003;
static const double overlap_least = 0.1; /* a scan and itself moved */
static const double doubt_most = 0.05;   /* share against the pose that is taken */
static const double near = 2;            /* thinned spacings: lies there */
static const double known_least = 0.3;   /* of a piece put elsewhere: where surface is known */

/* --- two scans ------------------------------------------------------------------------------- */

bool align_looks_through(const struct state *s, const struct scan *moving, const struct scan *fixed,
                         const struct rigid *pose, const struct rigid *present, double most)
{
    double through = pairing_through(moving, fixed, pose, LOOK);
    if (through <= most || job_cancelled(s->job))
        return false;
    return through > 2 * pairing_through(moving, fixed, present, LOOK) + most;
}

/* Whether two scans agree at a pose about as well as `now`; *overlap: the share that lies there. */
static enum status agrees(struct state *s, const struct scan *moving, const struct scan *fixed,
                          const struct rigid *pose, const struct rigid *present,
                          const struct doubt *now, double *overlap, bool *out)
{
    struct doubt doubt;
    enum status status = pairing_doubt(moving, fixed, pose, LOOK, &doubt, s->job);
    *overlap = doubt.overlap;
    *out = status == STATUS_OK && doubt.differ <= 2 * now->differ + differs &&
           doubt.misses <= 2 * fmax(0, now->misses) + misses_most &&
           !align_looks_through(s, moving, fixed, pose, present, through_most);
    return job_cancelled(s->job) ? job_fail_cancelled(s->job) : status;
}

/* Whether a scan looks the same moved so, by what of it then lies on itself. */
static enum status looks_same(struct state *s, const struct scan *scan, const struct rigid *motion,
                              bool *out)
{
    struct rigid rest = rigid_rest();
    struct doubt now;
    double overlap = 0;
    enum status status = pairing_doubt(scan, scan, &rest, LOOK, &now, s->job);
    if (status == STATUS_OK)
        status = agrees(s, scan, scan, motion, &rest, &now, &overlap, out);
    *out = *out && overlap >= overlap_least;
    return status;
}

/* Whether moving lies as well at another pose: one of the two looks the same moved from the one to
 * the other. */
static enum status is_equal(struct state *s, const struct scan *moving, const struct scan *fixed,
                            const struct rigid *pose, const struct rigid *other, bool *out)
{
    struct rigid back = rigid_inverse(pose);
    struct rigid of_moving = rigid_then(other, &back), of_fixed = rigid_then(&back, other);
    *out = false;
    enum status status = looks_same(s, moving, &of_moving, out);
    if (status == STATUS_OK && !*out)
        status = looks_same(s, fixed, &of_fixed, out);
    return status;
}

struct rigid align_turn(struct vec centre, struct vec axis, double angle)
{
    struct rigid turn = rigid_turn(vec_scale(axis, angle));
    turn.shift = vec_sub(centre, rigid_direction(&turn, centre));
    return turn;
}

/* Whether one of the two looks the same turned about what is round in both. */
static enum status is_round(struct state *s, const struct scan *moving, const struct scan *fixed,
                            const struct pairing *pairing, bool *out)
{
    const struct slide *slide = &pairing->slide;
    const struct vec axes[3] = {{1, 0, 0}, {0, 1, 0}, {0, 0, 1}};
    enum status status = STATUS_OK;
    *out = true;
    for (int i = 0; i < 2 * slide->round && *out && status == STATUS_OK; i++) {
        struct vec axis = slide->round == 1 ? slide->axis : axes[i / 2];
        struct rigid turn = align_turn(slide->centre, axis, i % 2 ? -round_step : round_step);
        struct rigid other = rigid_then(&pairing->pose, &turn);
        status = is_equal(s, moving, fixed, &pairing->pose, &other, out);
    }
    return status;
}

enum status align_takes(struct state *s, const struct scan *moving, const struct scan *fixed,
                        struct pairing *pairing)
{
    bool equal = true;
    enum status status = STATUS_OK;
    if (!s->taking || !pairing->open ||
        1 - pairing->touch.agreement + fmax(0, pairing->misses) > doubt_most)
        return STATUS_OK;
    if (pairing->slide.free)
        status = is_round(s, moving, fixed, pairing, &equal);
    for (size_t i = 0; i < pairing->rivals && equal && status == STATUS_OK; i++)
        if (pairing->as_well[i])
            status = is_equal(s, moving, fixed, &pairing->pose, &pairing->rival[i], &equal);
    if (status == STATUS_OK && equal)
        pairing->verdict = PAIR_EQUAL;
    return status;
}

void align_say_taken(struct state *s, size_t i, const struct slide *slide)
{
    char *alike = s->out->piece[i].alike;
    if (slide && slide->free)
        snprintf(alike, ALIGN_WHY, "it %s", slide->text);
    else if (!alike[0])
        snprintf(alike, ALIGN_WHY, "it fits as well in other ways that look the same");
}

/* --- in a group ------------------------------------------------------------------------------ */

/* Whether a scan has surface near a place, facing much the same way; both in its coordinates. */
static bool has_surface(const struct scan *scan, struct vec at, struct vec normal)
{
    const struct surfels *thin = &scan->thin[0];
    struct nearest nearest = tree_nearest(thin->tree, at, near * thin->spacing);
    return nearest.triangle != NO_INDEX &&
           vec_dot(surfels_normal(thin, nearest.triangle), normal) > LINKS_FACING;
}

/* Whether other pieces of the group, or piece i as it lies, have surface at its k-th place at a
 * pose. */
static void covered(const struct state *s, size_t group, size_t i, const struct rigid *pose,
                    size_t k, bool *others, bool *self)
{
    const struct surfels *thin = &s->scan[i].thin[0];
    struct vec at = rigid_apply(pose, surfels_at(thin, k));
    struct vec normal = rigid_direction(pose, surfels_normal(thin, k));
    *others = *self = false;
    for (size_t j = 0; j < s->count && !*others; j++) {
        struct rigid back = rigid_inverse(&s->pose[j]);
        if (s->group[j] == group &&
            has_surface(&s->scan[j], rigid_apply(&back, at), rigid_direction(&back, normal)))
            *(j == i ? self : others) = true;
    }
}

enum status align_cover(struct state *s, size_t group, size_t i, const struct rigid *pose,
                        struct cover *out)
{
    size_t count = surfels_count(&s->scan[i].thin[0]), step = count / COVER + 1, asked = 0;
    size_t by_others = 0, by_any = 0;
    for (size_t k = 0; k < count; k += step) {
        bool others, self;
        covered(s, group, i, pose, k, &others, &self);
        asked++;
        by_others += others;
        by_any += others || self;
    }
    *out = (struct cover){(double)by_others / (double)(asked ? asked : 1),
                          (double)by_any / (double)(asked ? asked : 1)};
    return job_cancelled(s->job) ? job_fail_cancelled(s->job) : STATUS_OK;
}

enum status align_equal(struct state *s, size_t group, size_t i, const struct rigid *pose,
                        bool *equal)
{
    struct cover cover;
    double usual = align_usual_doubt(s), overlap;
    enum status status = align_cover(s, group, i, pose, &cover);
    *equal = status == STATUS_OK && cover.known >= known_least;
    for (size_t j = 0; j < s->count && *equal && status == STATUS_OK; j++) {
        struct rigid back = rigid_inverse(&s->pose[j]), there = rigid_then(pose, &back);
        struct rigid present = rigid_then(&s->pose[i], &back);
        struct doubt now = align_doubt_now(s, i, j, usual);
        if (s->group[j] == group)
            status = agrees(s, &s->scan[i], &s->scan[j], &there, &present, &now, &overlap, equal);
    }
    return status;
}
