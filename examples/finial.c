#include "examples/finial.h"

#include <math.h>

static const double pi = 3.14159265358979323846;

/* --- noise ------------------------------------------------------------------------------------------ */

static uint32_t hashed(int32_t x, int32_t y, int32_t z)
{
    uint32_t h = (uint32_t)x * 0x8da6b343u ^ (uint32_t)y * 0xd8163841u ^ (uint32_t)z * 0xcb1ab31fu;
    h = (h ^ h >> 15) * 0x2c1b3c6du;
    h = (h ^ h >> 12) * 0x297a2d39u;
    return h ^ h >> 15;
}

static double lattice(int32_t x, int32_t y, int32_t z)
{
    return hashed(x, y, z) / 2147483647.5 - 1;
}

static double eased(double t)
{
    return t * t * t * (t * (6 * t - 15) + 10);
}

double finial_noise(struct vec p)
{
    double fx = floor(p.x), fy = floor(p.y), fz = floor(p.z), sum = 0;
    double u = eased(p.x - fx), v = eased(p.y - fy), w = eased(p.z - fz);
    for (int i = 0; i < 8; i++) {
        int a = i & 1, b = i >> 1 & 1, c = i >> 2;
        double weight = (a ? u : 1 - u) * (b ? v : 1 - v) * (c ? w : 1 - w);
        sum += weight * lattice((int32_t)fx + a, (int32_t)fy + b, (int32_t)fz + c);
    }
    return sum;
}

/* Rust pits: round hollows at scattered points, one in most cells of 5 mm. */
static double pits(struct vec p)
{
    const double cell = 5;
    struct vec q = vec_scale(p, 1 / cell);
    int x = (int)floor(q.x), y = (int)floor(q.y), z = (int)floor(q.z);
    double depth = 0;
    for (int i = -1; i <= 1; i++)
        for (int j = -1; j <= 1; j++)
            for (int k = -1; k <= 1; k++) {
                uint32_t h = hashed(x + i, y + j, z + k);
                struct vec c = vec(x + i + (h & 1023) / 1023.0, y + j + (h >> 10 & 1023) / 1023.0,
                                   z + k + (h >> 20 & 1023) / 1023.0);
                double radius = 0.12 + 0.3 * (h >> 27) / 31.0;
                double far2 = vec_length2(vec_sub(q, c)) / (radius * radius);
                if (far2 < 1)
                    depth = fmax(depth, radius * (1 - far2) * (1 - far2));
            }
    return 0.9 * depth;
}

/* --- solids -------------------------------------------------------------------------------------------- */

static double blend(double a, double b, double r) /* smooth union */
{
    double h = fmax(r - fabs(a - b), 0) / r;
    return fmin(a, b) - h * h * r / 4;
}

static double box(struct vec p, struct vec half, double round)
{
    struct vec q = vec(fabs(p.x) - half.x + round, fabs(p.y) - half.y + round, fabs(p.z) - half.z + round);
    double out = vec_length(vec(fmax(q.x, 0), fmax(q.y, 0), fmax(q.z, 0)));
    return out + fmin(fmax(q.x, fmax(q.y, q.z)), 0) - round;
}

static double ring(double rho, double z, double radius, double tube)
{
    return hypot(rho - radius, z) - tube;
}

static double ellipsoid(double rho, double z, double wide, double tall)
{
    double k = hypot(rho / wide, z / tall), g = hypot(rho / (wide * wide), z / (tall * tall));
    return g > 1e-9 ? k * (k - 1) / g : -fmin(wide, tall);
}

/* The baluster: rings and a fluted knop about a stem that tapers. */
static double baluster(double rho, double angle, double z)
{
    double stem = rho - (9 - 0.05 * (z - 10));
    stem = fmax(stem, fmax(6 - z, z - 78));
    double d = blend(stem, ring(rho, z - 15, 12.5, 4.5), 2.5);
    double fluted = 16 - 0.9 * fabs(sin(4 * angle)) * exp(-(z - 41) * (z - 41) / 60);
    d = blend(d, ellipsoid(rho, z - 41, fluted, 11), 3);
    d = blend(d, ring(rho, z - 57, 9.5, 3), 1.5);
    d = blend(d, ring(rho, z - 64, 8.5, 2), 1.5);
    return blend(d, ellipsoid(rho, z - 67, 9.5, 5), 2);
}

/* One of four leaves that curl outward from the collar: a bent bar of oval section. */
static double leaf(double along, double across, double z)
{
    double x = along - 21, y = z - 72, r = hypot(x, y), a = atan2(y, -x); /* 0 at the stem, upward */
    double t = fmin(fmax(a, -0.9), 2.3), thick = 3.4 - 0.75 * t;
    struct vec tip = vec(-cos(t) * 13, sin(t) * 13, 0);
    double off = a == t ? r - 13 : hypot(x - tip.x, y - tip.y);
    double wide = 2.1 * thick * (1 - 0.12 * cos(6 * across / thick));
    double k = hypot(off / thick, across / wide);
    return (k - 1) * thick * 0.8;
}

/* The spearhead: four ridges that swell and run out into a blunt tip. */
static double spear(struct vec p, double rho)
{
    double s = (p.z - 66) / 73;
    double swell = s <= 0 || s >= 1 ? 0 : 14 * pow(sin(pi * pow(s, 0.62)), 1.3) + 3.2 * (1 - s);
    double ridge = fabs(p.x) + fabs(p.y), d = (0.55 * ridge + 0.45 * rho - swell) * 0.75;
    d = fmax(d, fmax(66 - p.z, p.z - 139));
    double knob = vec_length(vec_sub(p, vec(0, 0, 137))) - 3;
    return blend(d, knob, 3);
}

double finial_distance(struct vec p)
{
    double rho = hypot(p.x, p.y), angle = atan2(p.y, p.x);
    double d = box(vec_sub(p, vec(0, 0, 4)), vec(22, 22, 4), 1.5);
    d = blend(d, box(vec_sub(p, vec(0, 0, 9)), vec(16, 16, 3), 1), 1.5);
    d = blend(d, baluster(rho, angle, p.z), 2);
    double a = fmod(angle + pi * 2.25, pi / 2) - pi / 4; /* the leaves stand over the plinth's corners */
    d = blend(d, leaf(rho * cos(a), rho * sin(a), p.z), 2);
    d = blend(d, spear(p, rho), 2);
    if (d > 1 || d < -1)
        return d; /* rust and pits go less deep than that */
    d += 0.12 * finial_noise(vec_scale(p, 0.22)) + 0.06 * finial_noise(vec_scale(p, 0.8));
    return d + pits(p);
}

/* --- colour ---------------------------------------------------------------------------------------------- */

static void mixed(double rgb[3], const double other[3], double share)
{
    share = fmin(fmax(share, 0), 1);
    for (int k = 0; k < 3; k++)
        rgb[k] += share * (other[k] - rgb[k]);
}

void finial_colour(struct vec p, uint8_t rgb[3])
{
    static const double rust[3] = {134, 78, 46}, iron[3] = {74, 72, 72}, paint[3] = {58, 92, 74};
    double c[3] = {iron[0], iron[1], iron[2]};
    double broad = finial_noise(vec_scale(p, 0.09)), fine = finial_noise(vec_scale(p, 0.9));
    mixed(c, rust, 0.55 + 0.9 * broad + 0.25 * fine + 2 * pits(p));
    mixed(c, paint, 2.5 * (finial_noise(vec_scale(vec_add(p, vec(40, 7, 3)), 0.06)) - 0.25));
    for (int k = 0; k < 3; k++)
        rgb[k] = (uint8_t)fmin(fmax(c[k] * (1 + 0.12 * fine), 0), 255);
}
