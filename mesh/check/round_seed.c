/* What lies around a seed, and the first cylinder that it leaves. */
#include <float.h>
#include <math.h>
#include <string.h>

#include "check/round_parts.h"
#include "core/eigen.h"

enum {
    WINDOW = 600, /* triangles around a seed, in which a circle is looked for, at the most */
    ENOUGH = 64,  /* edges between facets, when they turn far enough */
    START_STEPS = 3
};

static const double degree = 3.14159265358979323846 / 180;
/* tangents of 15 and 75 degrees: by how much a window turns at the least, half of it at the most */
static const double enough_turn = 0.267949192431, wide = 3.73205080757;
static const double alike = 0.978;      /* cosine of 12 degrees */
static const double sharp_edge = 0.906; /* of 25: between surfaces rather than facets */
static const double as_square = 0.01;   /* sine of the angle to the axis: like the seed's */
static const double straight = 0.1; /* of the turning: how much the normals may leave one plane */

/* --- the axis ------------------------------------------------------------------------------- */

/* Up to so many that a wall may go on to from the seed, nearest first. */
static bool collect(struct grower *g, uint32_t seed, struct around *out)
{
    const struct folds *folds = g->folds;
    uint32_t by[ROUND_NEAR] = {3}; /* the side by which each was reached; the seed by none */
    if (!grower_begin(g, seed))
        return false;
    for (size_t i = 0; i < g->reach.count; i++) {
        uint32_t t = g->reach.item[i];
        struct vec normal = facing_normal(&folds->face[t]);
        for (uint32_t k = 0; k < 3 && g->reach.count < ROUND_NEAR; k++) {
            uint32_t across = half_across(folds->topology, 3 * t + k), next = across / 3;
            if (k == by[i] || !fold_goes_on(fold_at(folds, 3 * t + k, across)) ||
                reach_has(&g->reach, next))
                continue;
            struct vec other = facing_normal(&folds->face[next]);
            out->sharp = out->sharp || vec_dot(normal, other) < sharp_edge;
            by[g->reach.count] = across % 3;
            if (!grower_add(g, next))
                return false;
        }
    }
    return true;
}

/* The sum of what their normals square to, by area. */
static void add_up(const struct grower *g, double matrix[9])
{
    double xx = 0, xy = 0, xz = 0, yy = 0, yz = 0, zz = 0;
    for (size_t i = 0; i < g->reach.count; i++) {
        const struct facing *f = &g->folds->face[g->reach.item[i]];
        double x = f->normal[0], y = f->normal[1], z = f->normal[2], a = f->area;
        xx += a * x * x;
        xy += a * x * y;
        xz += a * x * z;
        yy += a * y * y;
        yz += a * y * z;
        zz += a * z * z;
    }
    const double all[9] = {xx, xy, xz, xy, yy, yz, xz, yz, zz};
    memcpy(matrix, all, sizeof all);
}

/* Whether the least of the matrix's eigenvalues may be less than such a share of the next, by its
 * characteristic polynomial (Smith 1961, "Eigenvalues of a symmetric 3 x 3 matrix"): to leave out
 * most of those that are not before they are solved. */
static bool may_be_straight(const double m[9])
{
    double mean = (m[0] + m[4] + m[8]) / 3;
    double a = m[0] - mean, b = m[4] - mean, c = m[8] - mean;
    double off = m[1] * m[1] + m[2] * m[2] + m[5] * m[5];
    double p = sqrt((a * a + b * b + c * c + 2 * off) / 6);
    double q = a * (b * c - m[5] * m[5]) - m[1] * (m[1] * c - m[5] * m[2]) +
               m[2] * (m[1] * m[5] - b * m[2]);
    double r = p > 0 ? q / (2 * p * p * p) : 0;
    double angle = acos(fmax(-1, fmin(1, r))) / 3;
    double least = mean + 2 * p * cos(angle + 120 * degree);
    double most = mean + 2 * p * cos(angle);
    return least < 1.1 * straight * (3 * mean - least - most) + 1e-6 * mean;
}

/* The direction square to their normals. */
static void find_axis(const struct grower *g, struct around *out)
{
    double matrix[9], value[3], vector[9];
    add_up(g, matrix);
    if (!may_be_straight(matrix))
        return;
    eigen_symmetric(3, matrix, value, vector);
    out->axis = vec(vector[0], vector[1], vector[2]);
    out->off = sqrt(fmax(value[0], 0) / (value[0] + value[1] + value[2] + DBL_MIN));
    out->turns = value[1] > 1e-5 * value[2] && value[0] < straight * value[1];
}

bool seed_around(struct grower *g, uint32_t seed, struct around *out)
{
    out->axis = vec(0, 0, 0);
    out->off = 0;
    out->turns = out->sharp = false;
    out->likes = 0;
    if (!collect(g, seed, out))
        return false;
    find_axis(g, out);
    struct vec own = facing_normal(&g->folds->face[seed]);
    double along = vec_dot(own, out->axis);
    for (size_t i = 0; i < g->reach.count; i++) {
        struct vec normal = facing_normal(&g->folds->face[g->reach.item[i]]);
        if (vec_dot(normal, own) > alike &&
            (!out->turns || fabs(vec_dot(normal, out->axis) - along) < as_square + 3 * out->off))
            out->like[out->likes++] = g->reach.item[i];
    }
    return true;
}

/* --- the circle ----------------------------------------------------------------------------- */

struct window {
    struct vec axis, first, side; /* the seed's normal, what is square to it and to the axis */
    double most;                  /* sine by which a face may be off the axis */
    double low, high;             /* tangents of the turns from the seed's normal so far */
};

/* Whether a face belongs into the window; how far it turns counts then. */
static bool belongs(struct window *w, const struct facing *face)
{
    struct vec normal = facing_normal(face);
    if (!facing_sure(face))
        return true;
    double ahead = vec_dot(normal, w->first), aside = vec_dot(normal, w->side);
    if (fabs(vec_dot(normal, w->axis)) > w->most || !(ahead > 0 && fabs(aside) < wide * ahead))
        return false;
    double turn = aside / ahead;
    w->low = turn < w->low ? turn : w->low;
    w->high = turn > w->high ? turn : w->high;
    return true;
}

static bool turns_enough(const struct window *w)
{
    return w->high - w->low > enough_turn * (1 + w->high * w->low);
}

/* To the faces across the sides of one. */
static bool look_on(struct grower *g, struct window *w, uint32_t triangle)
{
    const struct folds *folds = g->folds;
    const uint32_t *v = mesh_triangle(folds->mesh)[triangle].v;
    const struct point *point = mesh_point(folds->mesh);
    for (uint32_t k = 0; k < 3; k++) {
        uint32_t across = half_across(folds->topology, 3 * triangle + k), next = across / 3;
        enum fold fold = fold_at(folds, 3 * triangle + k, across);
        if (!fold_goes_on(fold))
            continue;
        if (!belongs(w, &folds->face[next]))
            continue;
        if (fold == FOLD_BENDS &&
            !grower_add_points(g, point_vec(point[v[k]]), point_vec(point[v[(k + 1) % 3]])))
            return false;
        if (!reach_has(&g->reach, next) && !grower_add(g, next))
            return false;
    }
    return true;
}

/* What is found in the window around a seed: as far as its faces are square to the axis and do not
 * turn too far. True: its edges between facets are in g->point and turn enough. */
static bool look_around(struct grower *g, uint32_t seed, struct vec axis, double off)
{
    struct vec first = facing_normal(&g->folds->face[seed]);
    double most = sin(fmin(1.5 + 4 * off / degree, 12) * degree);
    struct window w = {axis, first, vec_cross(axis, first), most, 0, 0};
    g->points = 0;
    if (!grower_begin(g, seed))
        return false;
    for (size_t i = 0; i < g->reach.count && g->reach.count < WINDOW; i++) {
        if (g->points > 2 * ENOUGH && turns_enough(&w))
            break;
        if (!look_on(g, &w, g->reach.item[i]))
            return false;
    }
    return g->points >= 6 && turns_enough(&w);
}

/* Whether the seed looks to its axis. Fitting turns no circle inside out: it would have to pass
 * through a straight line. */
static bool looks_in(const struct grower *g, uint32_t seed, const struct cylinder *on)
{
    const uint32_t *v = mesh_triangle(g->folds->mesh)[seed].v;
    struct vec out = cylinder_polar(on, point_vec(mesh_point(g->folds->mesh)[v[0]])).out;
    return vec_dot(facing_normal(&g->folds->face[seed]), out) <= 0;
}

bool seed_start(struct grower *g, uint32_t seed, struct vec axis, double off, struct cylinder *out)
{
    return look_around(g, seed, axis, off) && cylinder_start(g->point, g->points, axis, out) &&
           cylinder_of_size(out, 1.5) && looks_in(g, seed, out) &&
           cylinder_off(g->point, g->points, out) <= 3 * cylinder_slack(out) &&
           cylinder_fit(g->point, g->points, START_STEPS, out) &&
           cylinder_off(g->point, g->points, out) < cylinder_slack(out);
}
