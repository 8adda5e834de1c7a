/* From a first cylinder to the wall that lies on it. */
#include <math.h>
#include <stdlib.h>

#include "check/round_parts.h"

enum {
    REFITS = 6,
    START_STEPS = 3,
    STEPS = 12,
    FEW = 256, /* points that are fitted while it grows; in the end */
    MANY = 4096,
    BINS = 72, /* around the axis */
    LOOK = 1024
};

static const double degree = 3.14159265358979323846 / 180;
static const double most_turn = 46; /* degrees: eight facets a circle */
static const double slant = 6;      /* degrees: by which a wall's face may lean off its axis */
static const double hopeless = 70;  /* degrees of the circle, */
static const double short_of = 98;  /* and in the end: round_look finds less than two more */
static const double least_diameter = 1, most_diameter = 64; /* mm */
static const double loose = 0.025, looser = 0.01;           /* of the radius, and mm: off it */

/* --- lists ---------------------------------------------------------------------------------- */

bool grower_begin(struct grower *g, uint32_t triangle)
{
    if (reach_clear(&g->reach) && reach_add(&g->reach, triangle))
        return true;
    g->status = STATUS_MEMORY;
    return false;
}

bool grower_add(struct grower *g, uint32_t triangle)
{
    if (reach_add(&g->reach, triangle))
        return true;
    g->status = STATUS_MEMORY;
    return false;
}

bool grower_add_points(struct grower *g, struct vec a, struct vec b)
{
    if (g->points + 2 > g->points_room) {
        size_t room = 2 * g->points_room + 1024;
        struct vec *point = realloc(g->point, room * sizeof *point);
        if (!point) {
            g->status = STATUS_MEMORY;
            return false;
        }
        g->point = point;
        g->points_room = room;
    }
    g->point[g->points++] = a;
    g->point[g->points++] = b;
    return true;
}

void grower_mark(struct grower *g, const uint32_t *triangle, size_t count, uint8_t bits)
{
    for (size_t i = 0; i < count; i++)
        if (grower_owns(g, triangle[i]))
            g->rounds->state[triangle[i]] |= bits;
}

void grower_release(struct grower *g)
{
    reach_release(&g->reach);
    free(g->point);
}

/* Whether to go on, asked now and then. */
static bool goes_on(struct grower *g, size_t i)
{
    if (i % LOOK != 0 || !job_cancelled(g->job))
        return true;
    g->status = STATUS_CANCELLED;
    return false;
}

/* --- what lies on a cylinder ---------------------------------------------------------------- */

double cylinder_slack(const struct cylinder *c)
{
    return loose * c->radius + looser;
}

bool cylinder_of_size(const struct cylinder *c, double about)
{
    double diameter = 2 * c->radius;
    return diameter > least_diameter / about && diameter < most_diameter * about;
}

struct shape {    /* what a wall's faces are like */
    double facet; /* radians by which neighbouring facets turn, at the most */
    double slant; /* sine by which a face may be off the axis */
};

struct band { /* where such faces lie */
    struct vec at, axis;
    double least, most; /* squares of distances from the axis */
    double slant;
    double inward; /* cosine to the way to the axis, at the least */
};

static struct band band_of(const struct cylinder *c, const struct shape *like)
{
    double facet = like->facet, slack = cylinder_slack(c);
    double least = c->radius * cos(facet / 2) - slack, most = c->radius + slack;
    return (struct band){c->at,       c->axis,     least > 0 ? least * least : -1,
                         most * most, like->slant, cos(fmin(facet / 2 + slant * degree, 1))};
}

static bool lies_on(const struct grower *g, const struct band *band, uint32_t triangle)
{
    const struct point *point = mesh_point(g->folds->mesh);
    const uint32_t *v = mesh_triangle(g->folds->mesh)[triangle].v;
    struct vec out = vec(0, 0, 0);
    for (int k = 0; k < 3; k++) {
        struct vec from = vec_sub(point_vec(point[v[k]]), band->at);
        struct vec across = vec_along(from, -vec_dot(from, band->axis), band->axis);
        double square = vec_length2(across);
        if (!(square < band->most && square > band->least))
            return false;
        out = vec_add(out, across);
    }
    const struct facing *face = &g->folds->face[triangle];
    struct vec normal = facing_normal(face);
    return !facing_sure(face) || (fabs(vec_dot(normal, band->axis)) < band->slant &&
                                  -vec_dot(normal, out) > band->inward * vec_length(out));
}

/* All that hangs together with the seed and lies on the cylinder. */
static bool flood(struct grower *g, uint32_t seed, const struct cylinder *c,
                  const struct shape *like)
{
    struct band band = band_of(c, like);
    if (!lies_on(g, &band, seed) || !grower_begin(g, seed))
        return false;
    for (size_t i = 0; i < g->reach.count; i++) {
        if (!goes_on(g, i))
            return false;
        for (uint32_t k = 0; k < 3; k++) {
            uint32_t across = half_across(g->folds->topology, 3 * g->reach.item[i] + k);
            uint32_t next = across / 3;
            if (across == NO_INDEX || reach_has(&g->reach, next) ||
                (grower_owns(g, next) && g->rounds->state[next] & ROUND_CLAIMED))
                continue;
            if (lies_on(g, &band, next) && !grower_add(g, next))
                return false;
        }
    }
    return true;
}

/* --- the wall ------------------------------------------------------------------------------- */

/* Leaves about `most` points, evenly. */
static void thin_out(struct grower *g, size_t most)
{
    size_t every = 2 * (g->points / most / 2) + 1, kept = 0; /* odd: of both ends of edges */
    for (size_t i = 0; i < g->points; i += every)
        g->point[kept++] = g->point[i];
    g->points = kept;
}

/* Radians by which the surface turns at a side of a triangle. */
static double turn_at(const struct rounds *rounds, uint32_t h)
{
    struct vec a = round_face(rounds, h / 3).normal;
    struct vec b = round_face(rounds, half_across(rounds->topology, h) / 3).normal;
    return atan2(vec_length(vec_cross(a, b)), vec_dot(a, b));
}

/* The edges between facets of what was flooded, into g->point, and what its faces are like: smooth
 * ones are square to the axis but for rounding, and what leans beside them (a rounded rim) is not
 * of the wall. */
static bool gather(struct grower *g, struct vec axis, struct shape *like)
{
    const struct folds *folds = g->folds;
    const struct point *point = mesh_point(folds->mesh);
    double lean = 0, area = 0, least = 2;
    uint32_t sharpest = NO_INDEX;
    g->points = 0;
    for (size_t i = 0; i < g->reach.count; i++) {
        uint32_t t = g->reach.item[i];
        const uint32_t *v = mesh_triangle(folds->mesh)[t].v;
        struct vec normal = facing_normal(&folds->face[t]);
        if (!goes_on(g, i))
            return false;
        for (uint32_t k = 0; k < 3; k++) {
            uint32_t across = half_across(folds->topology, 3 * t + k), next = across / 3;
            if (next < t || fold_at(folds, 3 * t + k, across) < FOLD_BENDS ||
                !reach_has(&g->reach, next))
                continue;
            double cosine = vec_dot(normal, facing_normal(&folds->face[next]));
            if (cosine < least) {
                least = cosine;
                sharpest = 3 * t + k;
            }
            if (!grower_add_points(g, point_vec(point[v[k]]), point_vec(point[v[(k + 1) % 3]])))
                return false;
        }
        lean += folds->face[t].area * fabs(vec_dot(normal, axis));
        area += folds->face[t].area;
    }
    double mean = area > 0 ? lean / area : 0;
    like->facet = sharpest == NO_INDEX ? 0 : turn_at(g->rounds, sharpest);
    like->slant = fmin(sin(degree) + 5 * mean, sin(slant * degree));
    return g->points >= 6;
}

/* About how far round the flooded goes, degrees: all but the widest gap between its corners. Of no
 * use when cancelled. */
static double goes_round(struct grower *g, const struct cylinder *c)
{
    const struct point *point = mesh_point(g->folds->mesh);
    bool taken[BINS] = {false};
    struct vec u, v;
    int gap = 0, run = 0;
    vec_frame(c->axis, &u, &v);
    for (size_t i = 0; i < g->reach.count && goes_on(g, i); i++) {
        const uint32_t *corner = mesh_triangle(g->folds->mesh)[g->reach.item[i]].v;
        for (int k = 0; k < 3; k++) {
            struct vec out = vec_sub(point_vec(point[corner[k]]), c->at);
            double turns = atan2(vec_dot(out, v), vec_dot(out, u)) / (360 * degree) + 0.5;
            taken[(int)fmin(BINS * turns, BINS - 1)] = true;
        }
    }
    for (int i = 0; i < 2 * BINS; i++) {
        run = taken[i % BINS] ? 0 : run + 1;
        gap = run > gap && run <= BINS ? run : gap;
    }
    return 360 - gap * 360.0 / BINS;
}

/* Whether it goes round less than so far: nothing that lies there can be part of a wall then. */
static bool goes_short(struct grower *g, const struct cylinder *c, double of)
{
    if (goes_round(g, c) >= of && g->status == STATUS_OK)
        return false;
    grower_mark(g, g->reach.item, g->reach.count, ROUND_TRIED);
    return true;
}

/* Floods and fits in turn. Leaves in *like what the faces of the last are like. */
static bool refit(struct grower *g, uint32_t seed, struct cylinder *on, struct shape *like)
{
    size_t before = 0;
    for (int i = 0; i < REFITS; i++) {
        if (!flood(g, seed, on, like))
            return false;
        if (g->reach.count == before)
            break;
        if (i == 1 && goes_short(g, on, hopeless))
            return false;
        before = g->reach.count;
        if (!gather(g, on->axis, like))
            return false;
        thin_out(g, FEW);
        if (!cylinder_fit(g->point, g->points, START_STEPS, on))
            return false;
    }
    return true;
}

bool round_grow(struct grower *g, uint32_t seed, struct round *round)
{
    struct shape like = {most_turn * degree, sin(slant * degree)};
    if (!refit(g, seed, &round->on, &like) || !gather(g, round->on.axis, &like))
        return false;
    thin_out(g, MANY);
    if (!cylinder_fit(g->point, g->points, STEPS, &round->on))
        return false;
    round->facet = like.facet;
    round->off = cylinder_off(g->point, g->points, &round->on);
    return cylinder_of_size(&round->on, 1) && round->off < cylinder_slack(&round->on) / 2 &&
           !goes_short(g, &round->on, short_of);
}
