#include "tests/support/solids.h"

#include "tests/support/shapes.h"

static const double pi = 3.14159265358979323846;

/* --- proportions ----------------------------------------------------------------------------- */

enum { WAVES = 12 };
static double vary[8] = {0.5, 0.5, 0.5, 0.5, 0.5, 0.5, 0.5, 0.5}; /* proportions, 0 to 1 */
static double wave[WAVES][4] = {
    {0.21, 0.05, 0.11, 1}, {-0.09, 0.24, 0.07, 2}, {0.13, -0.17, 0.19, 3}};

void solids_vary(uint64_t seed)
{
    for (int i = 0; i < 8; i++)
        vary[i] = shape_random(&seed);
    for (int i = 0; i < WAVES; i++)
        for (int k = 0; k < 4; k++)
            wave[i][k] = k == 3 ? 6 * shape_random(&seed)
                                : (0.1 + 0.04 * i) * (shape_random(&seed) - 0.5) * 2;
}

/* A gentle unevenness of about the given depth. */
static double uneven(struct vec p, double depth)
{
    double sum = 0;
    for (int i = 0; i < WAVES; i++)
        sum += sin(wave[i][0] * p.x + wave[i][1] * p.y + wave[i][2] * p.z + wave[i][3]);
    return depth * sum / sqrt(WAVES);
}

static double blend(double a, double b, double radius)
{
    double h = fmax(radius - fabs(a - b), 0) / radius;
    return fmin(a, b) - h * h * radius / 4;
}

static double box(struct vec p, struct vec half, double round)
{
    struct vec d =
        vec(fabs(p.x) - half.x + round, fabs(p.y) - half.y + round, fabs(p.z) - half.z + round);
    struct vec out = vec(fmax(d.x, 0), fmax(d.y, 0), fmax(d.z, 0));
    return vec_length(out) + fmin(fmax(d.x, fmax(d.y, d.z)), 0) - round;
}

static double capsule(struct vec p, struct vec a, struct vec b, double radius)
{
    struct vec ab = vec_sub(b, a);
    double t = fmin(fmax(vec_dot(vec_sub(p, a), ab) / vec_length2(ab), 0), 1);
    return vec_length(vec_sub(p, vec_along(a, t, ab))) - radius;
}

double solid_jug(struct vec p)
{
    double rho = hypot(p.x, p.y), z = p.z + 45;
    double profile = 24 + 9 * sin(z * (0.05 + 0.02 * vary[0])) + 5 * cos(z * 0.11 + 3 * vary[1]);
    double d = fmax((rho - profile) * 0.75, fmax(-z, z - 90));
    d = blend(d, capsule(p, vec(20, 0, 36), vec(42 + 8 * vary[2], 3, 44), 6), 5);
    struct vec q = vec(p.x + 26 + 6 * vary[3], p.y, p.z + 4);
    double ring = hypot(hypot(q.x, q.z) - 22, q.y) - 4.5;
    d = blend(d, ring, 3);
    return (d + (d < 2 ? uneven(p, 0.35) : 0)) * 0.85;
}

double solid_bracket(struct vec p)
{
    double d = box(vec_sub(p, vec(0, 0, -18)), vec(50, 30, 5), 1);
    d = fmin(d, box(vec_sub(p, vec(-42 + 6 * vary[0], 0, 10)), vec(6, 30, 30), 1));
    d = fmin(d, capsule(p, vec(20 + 10 * vary[1], 5, -18), vec(20 + 10 * vary[1], 5, 8), 11));
    double rib = fmax(fabs(p.y + 10 * vary[2]) - 3, (p.x + p.z * 1.2 + 8) * 0.62);
    d = fmin(d, fmax(rib, fmax(-p.z - 18, -p.x - 40)));
    d = fmax(d, 5.5 - hypot(p.x - 20 - 10 * vary[1], p.y - 5));
    d = fmax(d, 4 - hypot(p.x - 42, p.y + 20));
    d = fmax(d, 7 + 2 * vary[3] - hypot(p.y - 8, p.z - 22));
    return d;
}

double solid_pebbles(struct vec p)
{
    double d = INFINITY;
    for (int i = 0; i < 7; i++) {
        double a = i * 2.4 + 2 * vary[i], h = 12 * i - 40;
        struct vec c = vec((18 + 8 * vary[7 - i]) * cos(a), (18 + 8 * vary[i]) * sin(a), h);
        struct vec q = vec_sub(p, c);
        double stretched = vec_length(vec(q.x * 0.9, q.y * (0.7 + 0.3 * vary[i]), q.z));
        d = i ? blend(d, stretched - 22, 8) : stretched - 22;
    }
    return (d + (d < 2 ? uneven(p, 0.5) : 0)) * 0.7;
}

double solid_mask(struct vec p)
{
    double bent = p.z - 0.008 * p.x * p.x - 0.004 * p.y * p.y + 12;
    double relief =
        2.5 * sin(p.x * 0.16 + 3 * vary[0]) * cos(p.y * 0.13 + 3 * vary[1]) + uneven(p, 0.8);
    double nose = 10 * exp(-(p.x * p.x + (p.y - 5) * (p.y - 5)) / (60 + 40 * vary[2]));
    double d = fabs(bent - relief - nose) - 3;
    return fmax(d * 0.45, box(p, vec(42, 55, 60), 8));
}

double solid_ball(struct vec p)
{
    return vec_length(p) - 40;
}

double solid_rod(struct vec p)
{
    return hypot(p.x, p.y) - 18;
}

/* --- made of flat faces ---------------------------------------------------------------------- */

static double bore(struct vec p, double x, double y, double radius) /* along z */
{
    return radius - hypot(p.x - x, p.y - y);
}

double solid_steps(struct vec p)
{
    double d = box(vec_sub(p, vec(0, 0, -14)), vec(48, 28, 10), 0.6);
    d = fmin(d, box(vec_sub(p, vec(-16 + 4 * vary[0], 3, 2)), vec(32 - 4 * vary[0], 25, 8), 0.6));
    d = fmin(d, box(vec_sub(p, vec(-28, 8 - 6 * vary[1], 16)), vec(20, 18, 8 + 4 * vary[2]), 0.6));
    d = fmax(d, bore(p, 36, 12 - 8 * vary[3], 6));
    d = fmax(d, bore(p, 2, -10 + 4 * vary[4], 4.5));
    d = fmax(d, 5 + 2 * vary[5] - hypot(p.y - 8, p.z - 17)); /* across the top step */
    double slot = fmax(fabs(p.x - 14 + 6 * vary[6]) - 4, -p.z - 19);
    return fmax(d, -fmax(slot, 18 - p.y));
}

double solid_ribs(struct vec p)
{
    double d = box(vec_sub(p, vec(0, 0, -10)), vec(50, 36, 3), 0.5);
    static const double at[4] = {-38, -17, 9, 33};
    for (int i = 0; i < 4; i++) {
        double high = 7 + 9 * vary[i], x = at[i] + 4 * vary[i + 4];
        d = fmin(d, box(vec_sub(p, vec(x, 2.0 * i - 3, high - 9)), vec(2, 30 - 3 * i, high), 0.4));
    }
    double y = 14 - 20 * vary[2];
    d = fmin(d, box(vec_sub(p, vec(-4, y, -3)), vec(36, 2, 8 + 3 * vary[1]), 0.4));
    d = fmax(d, bore(p, 43, -28, 4));
    return fmax(d, bore(p, -28, 26, 5));
}

double solid_nut(struct vec p)
{
    double around = INFINITY;
    for (int i = 0; i < 3; i++) {
        double a = i * pi / 3, across = fabs(cos(a) * p.x + sin(a) * p.y) - 34;
        around = i ? fmax(around, across) : across;
    }
    double high = 14 + 4 * vary[0];
    double d = fmax(around, fabs(p.z) - high);
    d = fmin(d, fmax(hypot(p.x, p.y) - 46, fabs(p.z + high - 3) - 3)); /* a collar */
    d = fmax(d, bore(p, 0, 0, 17 + 3 * vary[1]));
    double notch = fmax(fabs(p.y - 4 * vary[2]) - 5 - 2 * vary[3], high - 7 - p.z);
    d = fmax(d, -fmax(notch, -p.x));
    return fmax(d, fmin(-p.y - 22 - 4 * vary[4], p.z - high + 9)); /* a ledge at one flat */
}

double solid_housing(struct vec p)
{
    double d = box(p, vec(42, 28, 20), 0.8);
    d = fmin(d, capsule(p, vec(12 + 8 * vary[0], 4 * vary[1], 0),
                        vec(12 + 8 * vary[0], 4 * vary[1], 24), 13 + 3 * vary[2]));
    d = fmin(d, box(vec_sub(p, vec(-30, 0, 14)), vec(7 + 4 * vary[3], 18, 14), 0.8));
    d = fmax(d, (p.x + p.z - 46 - 8 * vary[4]) * 0.7071); /* a chamfer */
    d = fmax(d, (p.y - 0.5 * p.x - 34 + 4 * vary[5]) * 0.894);
    return fmax(d, bore(p, 12 + 8 * vary[0], 4 * vary[1], 6));
}

double solid_frame(struct vec p)
{
    double d = box(p, vec(46, 34, 9), 0.7);
    double window = fmax(fabs(p.x + 6 - 6 * vary[0]) - 24, fabs(p.y - 2 + 4 * vary[1]) - 18);
    d = fmax(d, -window);
    d = fmin(d, box(vec_sub(p, vec(38, -14, 14)), vec(7, 8 + 4 * vary[2], 10 + 4 * vary[3]), 0.7));
    d = fmin(d, box(vec_sub(p, vec(-30, 27, 12)), vec(9, 6, 7 + 5 * vary[4]), 0.7));
    double wedge = fmax((p.z - 9 + 0.6 * (p.y + 34) - 10 - 4 * vary[5]) * 0.857, -p.z);
    d = fmin(d, fmax(wedge, fmax(fabs(p.x + 25) - 10, fmax(-p.y - 34, p.y + 16))));
    return fmax(d, 4 - hypot(p.x - 38, p.z - 17));
}
