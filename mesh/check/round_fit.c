#include <math.h>
#include <string.h>

#include "check/round.h"
#include "core/eigen.h"

enum { UNKNOWNS = 5 };

static const double weak = 1e-12;   /* of the strongest: a direction that the points leave open */
static const double settled = 1e-9; /* of the radius: steps below it change nothing */

struct polar cylinder_polar(const struct cylinder *c, struct vec p)
{
    struct vec from = vec_sub(p, c->at);
    double height = vec_dot(from, c->axis);
    struct vec across = vec_along(from, -height, c->axis);
    double radius = vec_length(across);
    return (struct polar){radius > 0 ? vec_scale(across, 1 / radius) : across, radius, height};
}

double polar_between(const struct cylinder *c, const struct polar *a, const struct polar *b)
{
    return atan2(vec_dot(vec_cross(a->out, b->out), c->axis), vec_dot(a->out, b->out));
}

/* Solves the normal equations along the directions that the points tell; how many those are. */
static int solve(int n, double *matrix, const double *right, double *x)
{
    double value[UNKNOWNS], vector[UNKNOWNS * UNKNOWNS];
    int told = 0;
    eigen_symmetric(n, matrix, value, vector);
    for (int k = 0; k < n; k++)
        x[k] = 0;
    for (int i = 0; i < n; i++) {
        if (!(value[i] > weak * value[n - 1]))
            continue;
        double part = 0;
        for (int k = 0; k < n; k++)
            part += vector[i * n + k] * right[k];
        for (int k = 0; k < n; k++)
            x[k] += part / value[i] * vector[i * n + k];
        told++;
    }
    return told;
}

static inline void add_row(int n, const double *row, double value, double *matrix, double *right)
{
    for (int i = 0; i < n; i++) {
        right[i] += row[i] * value;
        for (int k = 0; k < n; k++)
            matrix[i * n + k] += row[i] * row[k];
    }
}

/* x2 + y2 = 2 a x + 2 b y + c, linear in a, b and c. */
bool cylinder_start(const struct vec *point, size_t count, struct vec axis, struct cylinder *out)
{
    struct vec u, v, middle = vec(0, 0, 0);
    double matrix[9] = {0}, right[3] = {0}, x[3], scale = 0;
    vec_frame(axis, &u, &v);
    for (size_t i = 0; i < count; i++)
        middle = vec_along(middle, 1.0 / (double)count, point[i]);
    for (size_t i = 0; i < count; i++) {
        struct vec d = vec_sub(point[i], middle);
        double du = vec_dot(d, u), dv = vec_dot(d, v), square = du * du + dv * dv;
        scale = square > scale ? square : scale;
    }
    scale = sqrt(scale);
    if (!(scale > 0))
        return false;
    for (size_t i = 0; i < count; i++) {
        struct vec d = vec_sub(point[i], middle);
        double px = vec_dot(d, u) / scale, py = vec_dot(d, v) / scale;
        const double row[3] = {2 * px, 2 * py, 1};
        add_row(3, row, px * px + py * py, matrix, right);
    }
    if (solve(3, matrix, right, x) < 3)
        return false;
    double square = x[2] + x[0] * x[0] + x[1] * x[1];
    out->axis = axis;
    out->at = vec_along(vec_along(middle, scale * x[0], u), scale * x[1], v);
    out->radius = scale * sqrt(fmax(square, 0));
    return square > 0 && isfinite(out->radius);
}

/* The normal equations of one step. The unknowns are shifts of the axis across it, its turns, the
 * radius; a point's row is px, py, px z, py z, 1. */
static void add_up(const struct vec *point, size_t count, const struct cylinder *on, double length,
                   struct vec u, struct vec v, double *matrix, double *right)
{
    double xx[3] = {0}, xy[3] = {0}, yy[3] = {0}, x[2] = {0}, y[2] = {0};
    for (size_t i = 0; i < count; i++) {
        struct polar p = cylinder_polar(on, point[i]);
        double px = vec_dot(p.out, u), py = vec_dot(p.out, v), z = p.height / length;
        double off = p.radius - on->radius, power[3] = {1, z, z * z};
        for (int k = 0; k < 3; k++) {
            xx[k] += px * px * power[k];
            xy[k] += px * py * power[k];
            yy[k] += py * py * power[k];
        }
        for (int k = 0; k < 2; k++) {
            x[k] += px * power[k];
            y[k] += py * power[k];
            right[2 * k] += px * off * power[k];
            right[2 * k + 1] += py * off * power[k];
        }
        right[4] += off;
    }
    const double all[UNKNOWNS * UNKNOWNS] = {
        xx[0], xy[0], xx[1], xy[1], x[0],          /**/
        xy[0], yy[0], xy[1], yy[1], y[0],          /**/
        xx[1], xy[1], xx[2], xy[2], x[1],          /**/
        xy[1], yy[1], xy[2], yy[2], y[1],          /**/
        x[0],  y[0],  x[1],  y[1],  (double)count, /**/
    };
    memcpy(matrix, all, sizeof all);
}

/* One step; how far it went, in mm of what lies on it. */
static double step(const struct vec *point, size_t count, struct cylinder *on, double length)
{
    struct vec u, v;
    double matrix[UNKNOWNS * UNKNOWNS], right[UNKNOWNS] = {0}, x[UNKNOWNS];
    vec_frame(on->axis, &u, &v);
    add_up(point, count, on, length, u, v, matrix, right);
    if (solve(UNKNOWNS, matrix, right, x) < UNKNOWNS)
        return INFINITY;
    on->at = vec_along(vec_along(on->at, x[0], u), x[1], v);
    on->axis = vec_unit(vec_along(vec_along(on->axis, x[2] / length, u), x[3] / length, v));
    on->radius += x[4];
    return fabs(x[0]) + fabs(x[1]) + fabs(x[2]) + fabs(x[3]) + fabs(x[4]);
}

/* Height 0 in the middle of the points, or the axis would swing about a place far away. Returns
 * how far they reach from there. */
static double centre(const struct vec *point, size_t count, struct cylinder *on)
{
    double low = INFINITY, high = -INFINITY;
    for (size_t i = 0; i < count; i++) {
        double z = vec_dot(vec_sub(point[i], on->at), on->axis);
        low = z < low ? z : low;
        high = z > high ? z : high;
    }
    on->at = vec_along(on->at, (low + high) / 2, on->axis);
    return (high - low) / 2;
}

double cylinder_off(const struct vec *point, size_t count, const struct cylinder *on)
{
    double sum = 0;
    for (size_t i = 0; i < count; i++) {
        double d = cylinder_polar(on, point[i]).radius - on->radius;
        sum += d * d;
    }
    return sqrt(sum / (double)count);
}

bool cylinder_fit(const struct vec *point, size_t count, int steps, struct cylinder *on)
{
    double radius = on->radius;
    for (int i = 0; i < steps; i++) {
        double length = centre(point, count, on);
        double moved = length > 0 ? step(point, count, on, length) : INFINITY;
        if (!(moved < radius && on->radius > 0.2 * radius && on->radius < 5 * radius))
            return false;
        if (moved < settled * radius)
            break;
    }
    return true;
}
