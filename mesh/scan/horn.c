#include "scan/horn.h"

#include "core/eigen.h"

struct sums {
    struct vec middle[2];
    double s[3][3];      /* of products: from, to */
    double own[2][3][3]; /* of products of each side with itself */
    double weight;
};

static double weight_of(const double *weight, size_t i)
{
    return weight ? weight[i] : 1;
}

static struct sums sum_up(const struct vec *from, const struct vec *to, const double *weight,
                          size_t count)
{
    struct sums sums = {.weight = 0};
    for (size_t i = 0; i < count; i++) {
        double w = weight_of(weight, i);
        sums.weight += w;
        sums.middle[0] = vec_along(sums.middle[0], w, from[i]);
        sums.middle[1] = vec_along(sums.middle[1], w, to[i]);
    }
    for (int side = 0; side < 2; side++)
        sums.middle[side] = vec_scale(sums.middle[side], 1 / sums.weight);
    for (size_t i = 0; i < count; i++) {
        struct vec a = vec_sub(from[i], sums.middle[0]), b = vec_sub(to[i], sums.middle[1]);
        const double x[3] = {a.x, a.y, a.z}, y[3] = {b.x, b.y, b.z};
        double w = weight_of(weight, i);
        for (int k = 0; k < 9; k++) {
            sums.s[k / 3][k % 3] += w * x[k / 3] * y[k % 3];
            sums.own[0][k / 3][k % 3] += w * x[k / 3] * x[k % 3];
            sums.own[1][k / 3][k % 3] += w * y[k / 3] * y[k % 3];
        }
    }
    return sums;
}

static struct rigid turn_of(const double q[4])
{
    double w = q[0], x = q[1], y = q[2], z = q[3];
    return (struct rigid){
        {{w * w + x * x - y * y - z * z, 2 * (x * y - w * z), 2 * (x * z + w * y)},
         {2 * (x * y + w * z), w * w - x * x + y * y - z * z, 2 * (y * z - w * x)},
         {2 * (x * z - w * y), 2 * (y * z + w * x), w * w - x * x - y * y + z * z}},
        {0, 0, 0}};
}

/* The quaternion that goes with the greatest eigenvalue of Horn's matrix; *least: the least one. */
static void best_turn(const double s[3][3], double quaternion[4], double *greatest, double *least)
{
    double n[16] = {s[0][0] + s[1][1] + s[2][2],
                    s[1][2] - s[2][1],
                    s[2][0] - s[0][2],
                    s[0][1] - s[1][0],
                    s[1][2] - s[2][1],
                    s[0][0] - s[1][1] - s[2][2],
                    s[0][1] + s[1][0],
                    s[2][0] + s[0][2],
                    s[2][0] - s[0][2],
                    s[0][1] + s[1][0],
                    -s[0][0] + s[1][1] - s[2][2],
                    s[1][2] + s[2][1],
                    s[0][1] - s[1][0],
                    s[2][0] + s[0][2],
                    s[1][2] + s[2][1],
                    -s[0][0] - s[1][1] + s[2][2]};
    double value[4], vector[16];
    eigen_symmetric(4, n, value, vector);
    for (int k = 0; k < 4; k++)
        quaternion[k] = vector[12 + k];
    *greatest = value[3];
    *least = value[0];
}

static double trace_of(const double *m)
{
    return m[0] + m[4] + m[8];
}

/* How far the points of a side stand off their best line, and off their middle. */
static double off_line(double own[3][3], double weight)
{
    double value[3], vector[9];
    eigen_symmetric(3, &own[0][0], value, vector);
    return sqrt(fmax(0, value[0] + value[1]) / weight);
}

static double left_over(const struct sums *sums, double products)
{
    double a = trace_of(sums->own[0][0]), b = trace_of(sums->own[1][0]);
    return sqrt(fmax(0, a + b - 2 * products) / sums->weight);
}

bool horn_solve(const struct vec *from, const struct vec *to, const double *weight, size_t count,
                struct horn *out)
{
    struct sums sums = sum_up(from, to, weight, count);
    double greatest, least, q[4], a = trace_of(sums.own[0][0]), b = trace_of(sums.own[1][0]);
    *out = (struct horn){.motion = rigid_rest(), .scale = 1, .size = sqrt(a / sums.weight)};
    double own[2][3][3];
    for (int i = 0; i < 18; i++)
        (&own[0][0][0])[i] = (&sums.own[0][0][0])[i];
    for (int side = 0; side < 2; side++)
        out->spread[side] = off_line(own[side], sums.weight);
    if (count < 3 || !(out->spread[0] > 1e-3 * out->size) ||
        !(out->spread[1] > 1e-3 * sqrt(b / sums.weight)) || !isfinite(a + b))
        return false;
    best_turn((const double(*)[3])sums.s, q, &greatest, &least);
    struct rigid turn = turn_of(q);
    out->motion = rigid_tidy(&turn);
    out->motion.shift = vec_sub(sums.middle[1], rigid_direction(&out->motion, sums.middle[0]));
    out->scale = sqrt(b / a);
    out->rms = left_over(&sums, greatest);
    /* The best turn of the points mirrored through their middle: Horn's matrix of -s. */
    out->mirrored_rms = left_over(&sums, -least);
    return true;
}
