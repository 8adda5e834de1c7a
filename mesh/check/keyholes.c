/* Keyholes: the round end of a slot and the round entry from which the slot runs there, beside each
 * other in one wall; the slot between is looked at by rays, and so is the room behind the lip. */
#include <math.h>

#include "check/screw_holes_parts.h"
#include "core/job.h"

static const double least_end = 130, most_end = 230;     /* degrees of a circle: the slot's end */
static const double least_entry = 200, most_entry = 345; /* the entry */
static const double parallel = 0.9994;                   /* cosine of 2 degrees */
static const double wider = 1.15;    /* times: the entry than the slot; the room behind than it */
static const double out_of_way = 20; /* mm: to be free before the wall */

struct pair {
    const struct round *slot, *entry;
    struct vec along, up, side;
    struct vec at; /* on the slot's axis, at the middle of its wall */
    double travel;
    double half; /* of the slot's width */
};

static double middle_of(const struct round *round)
{
    return (round->end[ROUND_LOW].mean + round->end[ROUND_HIGH].mean) / 2;
}

/* Whether they are placed as the two ends of one opening. */
static bool make_pair(const struct round *slot, const struct round *entry, struct pair *p)
{
    *p = (struct pair){.slot = slot, .entry = entry, .along = slot->on.axis};
    if (fabs(vec_dot(slot->on.axis, entry->on.axis)) < parallel ||
        entry->narrow < wider * slot->narrow)
        return false;
    p->at = vec_along(slot->on.at, middle_of(slot), p->along);
    p->half = slot->narrow / 2;
    struct polar from = cylinder_polar(&entry->on, p->at);
    p->up = vec_unit(vec_along(from.out, -vec_dot(from.out, p->along), p->along));
    p->side = vec_cross(p->up, p->along);
    p->travel = from.radius;
    bool level = from.height > entry->end[ROUND_LOW].least - p->half &&
                 from.height < entry->end[ROUND_HIGH].most + p->half;
    return level && p->travel > entry->on.radius - p->half &&
           p->travel < 4 * (entry->on.radius + p->half) && vec_dot(entry->middle, p->up) < -0.8 &&
           vec_dot(slot->middle, p->up) > 0.8;
}

/* Whether the slot is there between them, as wide as its end. */
static bool is_slot(const struct hole_finder *f, const struct pair *p)
{
    double slack = 0.05 * p->half + 0.02, r = p->entry->on.radius;
    double length = p->travel - sqrt(fmax(r * r - p->half * p->half, 0));
    for (int i = 0; i < 3; i++) {
        struct vec from = vec_along(p->at, -fmax(length, 0) * (1 + 3 * i) / 8, p->up);
        for (int s = -1; s <= 1; s += 2)
            if (fabs(hole_far(f, from, vec_scale(p->side, s)) - p->half) > slack)
                return false;
    }
    return fabs(hole_far(f, p->at, p->up) - p->half) < slack;
}

/* Into the material is where something comes sooner; on the other side all must be free. */
static bool find_way_in(const struct hole_finder *f, struct pair *p)
{
    struct vec entry = vec_along(p->at, -p->travel, p->up), back = vec_scale(p->along, -1);
    double ahead = fmin(hole_far(f, p->at, p->along), hole_far(f, entry, p->along));
    double behind = fmin(hole_far(f, p->at, back), hole_far(f, entry, back));
    bool either = ahead == behind && back.x + 2 * back.y + 4 * back.z < 0;
    if (behind < ahead || either) {
        p->along = back;
        p->side = vec_scale(p->side, -1);
    }
    return fmax(ahead, behind) > out_of_way;
}

/* How deep an end of a wall lies, from p->at: its mean. */
static double depth_of(const struct pair *p, const struct round *round, struct vec way)
{
    struct vec end = vec_along(round->on.at, round->end[hole_end(round, way)].mean, round->on.axis);
    return vec_dot(vec_sub(end, p->at), p->along);
}

/* Depth and width of what is behind the lip. False: it is no wider than the slot. */
static bool look_behind(const struct hole_finder *f, const struct pair *p, double lip,
                        struct screw_hole *hole)
{
    hole->pocket = hole_far(f, p->at, p->along) - lip;
    double deep = fmin(hole->pocket / 2, p->half);
    struct vec head = vec_along(p->at, lip + deep, p->along);
    hole->room = hole_far(f, head, p->side) + hole_far(f, head, vec_scale(p->side, -1));
    return hole->pocket > 0.1 * p->half && hole->room > 2 * wider * p->half;
}

static bool make_keyhole(const struct hole_finder *f, struct pair *p, struct screw_hole *hole)
{
    if (!is_slot(f, p) || !find_way_in(f, p))
        return false;
    struct vec out = vec_scale(p->along, -1);
    double share = p->entry->arc * p->entry->on.radius, own = p->slot->arc * p->half;
    double rim =
        (depth_of(p, p->entry, out) * share + depth_of(p, p->slot, out) * own) / (share + own);
    double lip = depth_of(p, p->slot, p->along);
    *hole = (struct screw_hole){.kind = SCREW_HOLE_KEYHOLE,
                                .at = vec_along(p->at, rim, p->along),
                                .along = p->along,
                                .up = p->up,
                                .width = p->slot->narrow,
                                .corners = 2 * p->slot->on.radius,
                                .off = fmax(p->slot->off, p->entry->off),
                                .depth = -rim,
                                .entry = p->entry->narrow,
                                .travel = p->travel,
                                .lip = lip - rim};
    return look_behind(f, p, lip, hole);
}

enum status keyholes_find(struct hole_finder *f)
{
    const struct round *round = f->rounds.item;
    for (size_t s = 0; s < f->rounds.count; s++) {
        if (job_cancelled(f->job))
            return job_fail_cancelled(f->job);
        if (!(round[s].arc > least_end && round[s].arc < most_end))
            continue;
        for (size_t e = 0; e < f->rounds.count && !f->used[s]; e++) {
            struct pair pair;
            if (e == s || !(round[e].arc > least_entry && round[e].arc < most_entry) ||
                !make_pair(&round[s], &round[e], &pair) ||
                !make_keyhole(f, &pair, &f->item[f->count]))
                continue;
            f->used[s] = f->used[e] = true;
            f->count++;
        }
    }
    return STATUS_OK;
}
