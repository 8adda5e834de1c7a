#include "tests/support/equals.h"

static const double pi = 3.14159265358979323846;

/* Of a block with an outline (`around`: how far outside of it) from -half to half. */
static double upright(double around, double z, double half)
{
    double over = fabs(z) - half;
    return fmin(fmax(around, over), 0) + hypot(fmax(around, 0), fmax(over, 0));
}

/* How far outside a regular outline of so many sides, each `half` from the axis. */
static double sides(struct vec p, int count, double half)
{
    double part = 2 * pi / count, angle = atan2(p.y, p.x);
    angle -= part * round(angle / part);
    return hypot(p.x, p.y) * cos(angle) - half;
}

double equal_vase(struct vec p)
{
    double rho = hypot(p.x, p.y), z = fmin(fmax(p.z, -40), 40) + 40;
    double profile = 17 + 5 * sin(z * 0.075 + 0.4) + 3 * sin(z * 0.21) - 0.04 * z;
    return 0.75 * upright(rho - profile, p.z, 40);
}

double equal_cylinder(struct vec p)
{
    return upright(hypot(p.x, p.y) - 21, p.z, 26);
}

double equal_nut(struct vec p)
{
    double bevel = (hypot(p.x, p.y) + 1.6 * (fabs(p.z) - 14) - 35) / hypot(1, 1.6);
    double d = fmax(upright(sides(p, 6, 32), p.z, 14), bevel);
    return fmax(d, 18 - hypot(p.x, p.y));
}

double equal_gear(struct vec p)
{
    double rho = hypot(p.x, p.y), part = 2 * pi / 10, angle = atan2(p.y, p.x);
    angle -= part * round(angle / part);
    double across = fabs(rho * sin(angle)) - 4.5 + 0.35 * (rho * cos(angle) - 36);
    double tooth = fmax(fmax(across / hypot(1, 0.35), rho - 40), 20 - rho);
    double d = upright(fmin(rho - 31, tooth), p.z, 9);
    d = fmax(d, -fmax(fmax(rho - 25, 15 - rho), 4 - p.z)); /* a groove in one side */
    d = fmin(d, fmax(rho - 13, fmax(-p.z, p.z - 17)));
    return fmax(d, 6 - rho);
}

double equal_prism(struct vec p)
{
    return upright(sides(p, 3, 17), p.z, 22);
}

double equal_box(struct vec p)
{
    return upright(fmax(fabs(p.x) - 32, fabs(p.y) - 23), p.z, 16);
}

double unequal_nut(struct vec p)
{
    return fmax(equal_nut(p), -fmax(fmax(fabs(p.y) - 5, 26 - p.x), 4 - p.z));
}

double unequal_vase(struct vec p)
{
    struct vec q = {p.x - 22, p.y, p.z + 6};
    return fmin(equal_vase(p), hypot(hypot(q.x, q.z) - 16, q.y) - 3.5);
}

double equal_volume(solid_distance solid)
{
    const double cell = 0.4, half = 48;
    const int count = (int)(2 * half / cell);
    double inside = 0;
#pragma omp parallel for reduction(+ : inside) schedule(static)
    for (int i = 0; i < count * count * count; i++) {
        struct vec at = {-half + cell * (i % count + 0.5), -half + cell * (i / count % count + 0.5),
                         -half + cell * (i / count / count + 0.5)};
        inside += fmin(fmax(0.5 - solid(at) / cell, 0), 1);
    }
    return inside * cell * cell * cell;
}

double equal_off(solid_distance solid, struct vec p)
{
    const double step = 1e-4;
    struct vec rise = {solid(vec(p.x + step, p.y, p.z)) - solid(vec(p.x - step, p.y, p.z)),
                       solid(vec(p.x, p.y + step, p.z)) - solid(vec(p.x, p.y - step, p.z)),
                       solid(vec(p.x, p.y, p.z + step)) - solid(vec(p.x, p.y, p.z - step))};
    return fabs(solid(p)) / fmax(vec_length(rise) / (2 * step), 0.3);
}
