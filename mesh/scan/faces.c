#include "scan/faces.h"

#include <stdlib.h>
#include <string.h>

#include "core/job.h"

enum {
    NO_FACE = 255,   /* of a surfel that faces as faces do but lies in none */
    TRIED = 80,      /* surfels that are tried as a direction */
    DIRECTIONS = 12, /* that are looked for */
    A_DIRECTION = 9, /* planes of one at most */
    TURNS = 48,      /* that are tried */
    SHIFTS = 8,      /* kept along one direction */
    A_TURN = 100     /* poses of a turn */
};
static const double facing_same = 0.9945; /* cosine of 6 degrees */
static const double least_share = 0.008;  /* of a face */
static const double parallel = 0.996;     /* cosine of 5 degrees: of faces on each other */
static const double upright = 0.12;       /* cosine: nearly at right angles */

/* --- faces ----------------------------------------------------------------------------------- */

struct place { /* of a surfel along a direction */
    double at;
    uint32_t surfel;
};

static int by_place(const void *a, const void *b)
{
    const struct place *x = a, *y = b;
    if (x->at != y->at)
        return x->at < y->at ? -1 : 1;
    return (x->surfel > y->surfel) - (x->surfel < y->surfel);
}

/* How many surfels of no face yet face as n does; their mean direction. */
static size_t facing(const struct surfels *s, const struct faces *faces, struct vec n,
                     struct vec *mean)
{
    size_t count = 0;
    *mean = vec(0, 0, 0);
    for (size_t i = 0; i < surfels_count(s); i++) {
        struct vec m = surfels_normal(s, i);
        if (faces->of[i] != FACES_MOST || vec_dot(m, n) < facing_same)
            continue;
        *mean = vec_add(*mean, m);
        count++;
    }
    *mean = vec_unit(*mean);
    return count;
}

/* The direction in which most of what is in no face yet looks. */
static struct vec commonest(const struct surfels *s, const struct faces *faces, size_t *count)
{
    size_t all = surfels_count(s);
    struct vec best = vec(0, 0, 1), mean;
    *count = 0;
    for (size_t k = 0; k < TRIED; k++) {
        size_t i = k * all / TRIED;
        size_t n = faces->of[i] == FACES_MOST ? facing(s, faces, surfels_normal(s, i), &mean) : 0;
        best = n > *count ? mean : best;
        *count = n > *count ? n : *count;
    }
    *count = facing(s, faces, best, &mean);
    return *count ? mean : best;
}

/* Where within `wide` mm most of the places lie that are left: from, and how many. */
static size_t densest(const struct place *place, size_t count, const bool *gone, double wide,
                      size_t *from)
{
    size_t most = 0, end = 0, in = 0;
    for (size_t i = 0; i < count; i++) {
        for (; end < count && place[end].at <= place[i].at + wide; end++)
            in += !gone[end];
        if (in > most) {
            most = in;
            *from = i;
        }
        in -= !gone[i];
    }
    return most;
}

/* Makes faces of the planes on which surfels that face as `n` does stand. */
static void cut_into_planes(const struct surfels *s, struct vec n, struct place *place, bool *gone,
                            struct faces *out)
{
    size_t count = 0, all = surfels_count(s), from = 0;
    double wide = s->spacing;
    for (size_t i = 0; i < all; i++)
        if (out->of[i] == FACES_MOST && vec_dot(surfels_normal(s, i), n) >= facing_same) {
            gone[count] = false;
            place[count++] = (struct place){vec_dot(surfels_at(s, i), n), (uint32_t)i};
        }
    qsort(place, count, sizeof *place, by_place);
    for (int k = 0; k < A_DIRECTION && out->count < FACES_MOST; k++) {
        size_t in = densest(place, count, gone, wide, &from);
        if ((double)in < least_share * (double)all)
            break;
        double middle = 0, low = place[from].at;
        for (size_t i = from; i < count && place[i].at <= low + wide; i++)
            middle += gone[i] ? 0 : place[i].at / (double)in;
        for (size_t i = 0; i < count; i++)
            if (!gone[i] && fabs(place[i].at - middle) <= wide) {
                gone[i] = true;
                out->of[place[i].surfel] = (uint8_t)out->count;
            }
        out->face[out->count++] = (struct face){n, middle, (double)in / (double)all};
    }
    for (size_t i = 0; i < count; i++)
        if (!gone[i])
            out->of[place[i].surfel] = NO_FACE;
}

enum status faces_find(const struct surfels *surfels, struct faces *out, struct job *job)
{
    size_t count = surfels_count(surfels), bytes = sizeof(struct place) + 1;
    struct place *place = scratch_new(count, bytes);
    *out = (struct faces){.of = scratch_new(count, 1)};
    if (!place || !out->of) {
        scratch_free(place);
        faces_release(out);
        return job_fail_memory(job, count * bytes);
    }
    memset(out->of, FACES_MOST, count);
    for (int i = 0; i < DIRECTIONS && count && out->count < FACES_MOST; i++) {
        size_t in;
        if (job_cancelled(job))
            break;
        struct vec n = commonest(surfels, out, &in);
        if ((double)in < least_share * (double)count)
            break;
        cut_into_planes(surfels, n, place, (bool *)(place + count), out);
    }
    scratch_free(place);
    if (!job_cancelled(job))
        return STATUS_OK;
    faces_release(out);
    return job_fail_cancelled(job);
}

void faces_release(struct faces *faces)
{
    scratch_free(faces->of);
    *faces = (struct faces){0};
}

/* --- turns ----------------------------------------------------------------------------------- */

struct turn { /* that brings two directions of the moving scan onto two of the fixed one */
    struct rigid turn;
    struct vec axis[3]; /* of the fixed scan: the two, and what is square to both */
    double share;       /* of the faces that then face alike */
    int found;          /* when: of equal shares the first is the first */
};

/* The frame of a direction and another; false: they are nearly the same. */
static bool frame_of(struct vec along, struct vec beside, struct frame *out)
{
    struct vec up = vec_cross(along, beside);
    if (vec_length(up) < 0.4)
        return false;
    up = vec_unit(up);
    *out = (struct frame){vec(0, 0, 0), {along, vec_cross(up, along), up}};
    return true;
}

/* The turn that brings face a onto face to_a and face b to where `to_b` looks. */
static bool make_turn(const struct face *a, const struct face *b, const struct face *to_a,
                      struct vec to_b, struct turn *out)
{
    struct frame f, g;
    double from = vec_dot(a->normal, b->normal), to = vec_dot(to_a->normal, to_b);
    if (!frame_of(a->normal, b->normal, &f) || !frame_of(to_a->normal, to_b, &g) ||
        fabs(acos(from) - acos(fmin(1, fmax(-1, to)))) > 0.05)
        return false;
    out->turn = rigid_between(&f, &g);
    out->axis[0] = to_a->normal;
    out->axis[1] = to_b;
    out->axis[2] = g.axis[2];
    return true;
}

static double share_of(const struct faces *moving, const struct faces *fixed,
                       const struct rigid *turn)
{
    double share = 0;
    for (int i = 0; i < moving->count; i++) {
        struct vec n = rigid_direction(turn, moving->face[i].normal);
        double same = 0;
        for (int k = 0; k < fixed->count; k++)
            if (vec_dot(n, fixed->face[k].normal) > parallel)
                same += fixed->face[k].share;
        share += fmin(same, moving->face[i].share);
    }
    return share;
}

/* The first face of each direction; returns how many there are. */
static int first_faces(const struct faces *faces, int first[FACES_MOST])
{
    int count = 0;
    for (int i = 0; i < faces->count; i++) {
        bool known = false;
        for (int k = 0; k < count && !known; k++)
            known = vec_dot(faces->face[first[k]].normal, faces->face[i].normal) > parallel;
        if (!known)
            first[count++] = i;
    }
    return count;
}

/* Adds a turn unless it is there; when there is no room, for the one of the least share. */
static void keep_turn(struct turn *turn, int *count, const struct turn *more)
{
    int least = 0;
    for (int i = 0; i < *count; i++) {
        if (rigid_angle(&turn[i].turn, &more->turn) < 0.08)
            return;
        least = turn[i].share < turn[least].share ? i : least;
    }
    if (*count < TURNS)
        turn[(*count)++] = *more;
    else if (turn[least].share < more->share)
        turn[least] = *more;
}

/* Adds the turns that bring face a of the moving scan onto face to_a, and b onto face to_b, to look
 * the other way, or to a side: parts have sides that no two scans both see. */
static void add_turns(const struct faces *moving, int a, int b, const struct faces *fixed, int to_a,
                      int to_b, struct turn *turn, int *count)
{
    const struct face *f = &fixed->face[to_a], *g = &fixed->face[to_b];
    struct vec side = vec_unit(vec_cross(f->normal, g->normal));
    const struct vec to[4] = {g->normal, vec_scale(g->normal, -1), side, vec_scale(side, -1)};
    for (int i = 0; i < 4; i++) {
        struct turn more;
        if (!make_turn(&moving->face[a], &moving->face[b], f, to[i], &more))
            continue;
        more.share = share_of(moving, fixed, &more.turn);
        more.found = (((a * FACES_MOST + b) * FACES_MOST + to_a) * FACES_MOST + to_b) * 4 + i;
        keep_turn(turn, count, &more);
    }
}

static int find_turns(const struct faces *moving, const struct faces *fixed, struct turn *turn,
                      struct job *job)
{
    int from[FACES_MOST], to[FACES_MOST], count = 0;
    int n = first_faces(moving, from), m = first_faces(fixed, to);
    for (int i = 0; i < n * n && !job_cancelled(job); i++)
        for (int k = 0; k < m * m; k++)
            if (i / n != i % n && k / m != k % m)
                add_turns(moving, from[i / n], from[i % n], fixed, to[k / m], to[k % m], turn,
                          &count);
    return count;
}

/* --- shifts ---------------------------------------------------------------------------------- */

struct shift { /* along an axis */
    double by, weight;
};
struct shifts {
    struct shift shift[FACES_MOST * FACES_MOST * 2];
    int count;
};

struct extents { /* of a scan's faces along an axis, mm */
    double low[FACES_MOST], high[FACES_MOST];
};

static void find_extents(const struct surfels *s, const struct faces *faces, struct vec axis,
                         struct extents *out)
{
    for (int i = 0; i < FACES_MOST; i++) {
        out->low[i] = INFINITY;
        out->high[i] = -INFINITY;
    }
    for (size_t i = 0; i < surfels_count(s); i++) {
        int f = faces->of[i];
        double at = vec_dot(surfels_at(s, i), axis);
        if (f >= FACES_MOST)
            continue;
        out->low[f] = fmin(out->low[f], at);
        out->high[f] = fmax(out->high[f], at);
    }
}

static void add_shift(struct shifts *shifts, double by, double weight)
{
    if (shifts->count < FACES_MOST * FACES_MOST * 2)
        shifts->shift[shifts->count++] = (struct shift){by, weight};
}

static int by_weight(const void *a, const void *b)
{
    const struct shift *x = a, *y = b;
    if (x->weight != y->weight)
        return x->weight > y->weight ? -1 : 1;
    return (x->by > y->by) - (x->by < y->by);
}

/* Leaves the shifts that most faces agree on, within `near` mm, the best first. */
static void leave_best(struct shifts *shifts, double near)
{
    struct shift best[FACES_MOST * FACES_MOST * 2];
    int count = 0;
    for (int i = 0; i < shifts->count; i++) {
        double sum = 0, mean = 0;
        for (int k = 0; k < shifts->count; k++)
            if (fabs(shifts->shift[k].by - shifts->shift[i].by) <= near) {
                sum += shifts->shift[k].weight;
                mean += shifts->shift[k].weight * shifts->shift[k].by;
            }
        best[count++] = (struct shift){mean / sum, sum};
    }
    qsort(best, (size_t)count, sizeof *best, by_weight);
    shifts->count = 0;
    for (int i = 0; i < count && shifts->count < SHIFTS; i++) {
        bool known = false;
        for (int k = 0; k < shifts->count && !known; k++)
            known = fabs(shifts->shift[k].by - best[i].by) <= near;
        if (!known)
            shifts->shift[shifts->count++] = best[i];
    }
}

struct both { /* the two scans at a turn */
    const struct surfels *moving, *fixed;
    const struct faces *moving_faces, *fixed_faces;
    struct rigid turn;
};

/* The shifts along an axis that bring planes square to it onto each other, or rims of faces along
 * it. */
static void find_shifts(const struct both *both, struct vec axis, struct shifts *out)
{
    struct extents a, b;
    struct rigid back = rigid_inverse(&both->turn);
    find_extents(both->moving, both->moving_faces, rigid_direction(&back, axis), &a);
    find_extents(both->fixed, both->fixed_faces, axis, &b);
    out->count = 0;
    for (int i = 0; i < both->moving_faces->count; i++) {
        const struct face *f = &both->moving_faces->face[i];
        struct vec n = rigid_direction(&both->turn, f->normal);
        double lean = vec_dot(n, axis);
        for (int k = 0; k < both->fixed_faces->count; k++) {
            const struct face *g = &both->fixed_faces->face[k];
            double weight = fmin(f->share, g->share);
            if (vec_dot(n, g->normal) < parallel)
                continue;
            if (fabs(lean) > parallel) {
                add_shift(out, (g->at - f->at) * (lean > 0 ? 1 : -1), weight);
            } else if (fabs(lean) < upright) {
                add_shift(out, b.low[k] - a.low[i], 0.3 * weight);
                add_shift(out, b.high[k] - a.high[i], 0.3 * weight);
            }
        }
    }
    leave_best(out, 1.5 * fmax(both->moving->spacing, both->fixed->spacing));
}

/* The shift that is `by[k]` along the k-th axis, of which the third is square to the others. */
static struct vec shift_of(const struct vec axis[3], const double by[3])
{
    double c = vec_dot(axis[0], axis[1]), det = 1 - c * c;
    double x = (by[0] - c * by[1]) / det, y = (by[1] - c * by[0]) / det;
    struct vec sum = vec_along(vec_scale(axis[0], x), y, axis[1]);
    return vec_along(sum, by[2], axis[2]);
}

struct choice { /* of one shift along each axis */
    double weight;
    int shift[3];
};

static int by_choice(const void *a, const void *b)
{
    const struct choice *x = a, *y = b;
    if (x->weight != y->weight)
        return x->weight > y->weight ? -1 : 1;
    return memcmp(x->shift, y->shift, sizeof x->shift);
}

static size_t guess_at(const struct both *both, const struct turn *turn, size_t most,
                       struct rigid *pose)
{
    struct shifts along[3];
    struct choice choice[SHIFTS * SHIFTS * SHIFTS];
    int n[3], count = 0;
    for (int k = 0; k < 3; k++) {
        find_shifts(both, turn->axis[k], &along[k]);
        n[k] = along[k].count;
    }
    for (int i = 0; i < n[0] * n[1] * n[2]; i++) {
        struct choice *c = &choice[count++];
        *c = (struct choice){1, {i % n[0], i / n[0] % n[1], i / n[0] / n[1]}};
        for (int k = 0; k < 3; k++)
            c->weight *= along[k].shift[c->shift[k]].weight / along[k].shift[0].weight;
    }
    qsort(choice, (size_t)count, sizeof *choice, by_choice);
    size_t made = 0;
    for (; made < most && (int)made < count && made < A_TURN; made++) {
        double by[3];
        for (int k = 0; k < 3; k++)
            by[k] = along[k].shift[choice[made].shift[k]].by;
        pose[made] = turn->turn;
        pose[made].shift = shift_of(turn->axis, by);
    }
    return made;
}

static int by_share(const void *a, const void *b)
{
    const struct turn *x = a, *y = b;
    if (x->share != y->share)
        return x->share > y->share ? -1 : 1;
    return (x->found > y->found) - (x->found < y->found);
}

size_t faces_guess(const struct surfels *moving, const struct faces *moving_faces,
                   const struct surfels *fixed, const struct faces *fixed_faces, size_t most,
                   struct rigid *pose, struct job *job)
{
    struct turn turn[TURNS];
    struct both both = {moving, fixed, moving_faces, fixed_faces, rigid_rest()};
    int turns = find_turns(moving_faces, fixed_faces, turn, job);
    size_t count = 0;
    qsort(turn, (size_t)turns, sizeof *turn, by_share);
    for (int i = 0; i < turns && count < most && !job_cancelled(job); i++) {
        both.turn = turn[i].turn;
        count += guess_at(&both, &turn[i], most - count, pose + count);
    }
    return count;
}
