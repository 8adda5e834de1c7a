/* The predicates' floating-point filters and their exact fallback.
 *
 * J. R. Shewchuk, "Adaptive Precision Floating-Point Arithmetic and Fast Robust Geometric
 * Predicates", Discrete & Computational Geometry 18 (1997): the error bounds of the filters (his
 * bounds A), and the arithmetic of expansions: sums of doubles whose bits do not overlap, smallest
 * first, so that the last component has the sign of the whole. Where the filter cannot tell, the
 * determinant is evaluated as one expansion; components that are zero are dropped on the way, so
 * that inputs of few bits (single-precision positions are) stay short and fast.
 *
 * Needs double arithmetic that rounds to nearest even, and no fused or reordered operations. */
#include "core/exact.h"

#include <assert.h>
#include <stdbool.h>
#include <string.h>

#define EPSILON 0x1p-53

static const double turn_bound = (3 + 16 * EPSILON) * EPSILON;
static const double side_bound = (7 + 56 * EPSILON) * EPSILON;
static const double circle_bound = (10 + 96 * EPSILON) * EPSILON;
/* Not in the paper, found in the same way: each of the four terms passes at most four roundings,
 * and so does the sum of their magnitudes that the bound is scaled by. */
static const double plane_bound = (4 + 32 * EPSILON) * EPSILON;

static inline int sign(double x)
{
    return (x > 0) - (x < 0);
}

/* --- two doubles that add up to an exact result ---------------------------------------------- */

struct pair {
    double high, low;
};

static inline struct pair two_sum(double a, double b)
{
    double high = a + b, from_b = high - a, from_a = high - from_b;
    return (struct pair){high, (a - from_a) + (b - from_b)};
}

/* The same when |a| >= |b| or a is zero. */
static inline struct pair quick_two_sum(double a, double b)
{
    double high = a + b;
    return (struct pair){high, b - (high - a)};
}

/* The upper and the lower half of the bits of a (Veltkamp's splitting). */
static inline struct pair halves(double a)
{
    double big = 134217729.0 * a, high = big - (big - a);
    return (struct pair){high, a - high};
}

static inline struct pair two_product(double a, double b)
{
    double high = a * b;
    struct pair p = halves(a), q = halves(b);
    double rest = high - p.high * q.high;
    rest -= p.low * q.high;
    rest -= p.high * q.low;
    return (struct pair){high, p.low * q.low - rest};
}

/* --- expansions: n components, smallest first, none of them zero; n = 0 is zero -------------- */

static inline int put(double *h, int n, double x)
{
    h[n] = x;
    return n + (x != 0);
}

static inline int from_pair(struct pair p, double h[2])
{
    return put(h, put(h, 0, p.low), p.high);
}

/* h = e + f; room for n + m components; h is neither e nor f. */
static int sum(const double *e, int n, const double *f, int m, double *h)
{
    int i = 0, j = 0, count = 0;
    double running = 0;
    while (i < n || j < m) {
        bool take_e = j == m || (i < n && fabs(e[i]) < fabs(f[j]));
        struct pair p = two_sum(running, take_e ? e[i++] : f[j++]);
        count = put(h, count, p.low);
        running = p.high;
    }
    return put(h, count, running);
}

/* h = b e; room for 2 n components. */
static int scale(const double *e, int n, double b, double *h)
{
    int count = 0;
    double running = 0;
    for (int i = 0; i < n; i++) {
        struct pair term = two_product(e[i], b), low = two_sum(running, term.low);
        struct pair high = quick_two_sum(term.high, low.high);
        count = put(h, put(h, count, low.low), high.low);
        running = high.high;
    }
    return put(h, count, running);
}

enum { PRODUCT_MOST = 1024 };

/* h = e f; room for 2 n m components, at most PRODUCT_MOST. */
static int product(const double *e, int n, const double *f, int m, double *h)
{
    double term[PRODUCT_MOST], before[PRODUCT_MOST];
    int count = 0;
    for (int j = 0; j < m; j++) {
        int terms = scale(e, n, f[j], j ? term : h);
        if (!j) {
            count = terms;
            continue;
        }
        memcpy(before, h, (size_t)count * sizeof *h);
        count = sum(before, count, term, terms, h);
    }
    return count;
}

static void negate(double *e, int n)
{
    for (int i = 0; i < n; i++)
        e[i] = -e[i];
}

static int expansion_sign(const double *e, int n)
{
    return n ? sign(e[n - 1]) : 0;
}

/* A coordinate difference: one component for most pairs of single-precision positions. */
struct gap {
    double e[2];
    int n;
};

static struct gap gap(double a, double b)
{
    struct gap d;
    d.n = from_pair(two_sum(a, -b), d.e);
    return d;
}

/* a d - b c */
struct minor {
    double e[16];
    int n;
};

static struct minor minor(const struct gap *a, const struct gap *b, const struct gap *c,
                          const struct gap *d)
{
    struct minor m;
    double plus[8], less[8];
    int p = product(a->e, a->n, d->e, d->n, plus);
    int q = product(b->e, b->n, c->e, c->n, less);
    negate(less, q);
    m.n = sum(plus, p, less, q, m.e);
    return m;
}

/* --- the predicates -------------------------------------------------------------------------- */

static int turn_exactly(const double a[2], const double b[2], const double c[2])
{
    struct gap ax = gap(a[0], c[0]), ay = gap(a[1], c[1]);
    struct gap bx = gap(b[0], c[0]), by = gap(b[1], c[1]);
    struct minor m = minor(&ax, &ay, &bx, &by);
    return expansion_sign(m.e, m.n);
}

int exact_turn(const double a[2], const double b[2], const double c[2])
{
    double left = (a[0] - c[0]) * (b[1] - c[1]), right = (a[1] - c[1]) * (b[0] - c[0]);
    double value = left - right, bound = turn_bound * (fabs(left) + fabs(right));
    if (value > bound || -value > bound)
        return sign(value);
    return turn_exactly(a, b, c);
}

enum { VOLUME_MOST = 192 };

/* Six times the volume as an expansion. */
static int volume_exactly(const struct vec *a, const struct vec *b, const struct vec *c,
                          const struct vec *d, double all[VOLUME_MOST])
{
    const struct vec *p[3] = {a, b, c};
    struct gap x[3], y[3], z[3];
    for (int i = 0; i < 3; i++) {
        x[i] = gap(p[i]->x, d->x);
        y[i] = gap(p[i]->y, d->y);
        z[i] = gap(p[i]->z, d->z);
    }
    double term[64], one[64], two[128];
    int n = 0, count = 0;
    for (int i = 0; i < 3; i++) {
        int j = (i + 1) % 3, k = (i + 2) % 3;
        struct minor m = minor(&x[j], &y[j], &x[k], &y[k]);
        n = product(m.e, m.n, z[i].e, z[i].n, i ? term : one);
        if (i == 0)
            count = n;
        else if (i == 1)
            count = sum(one, count, term, n, two);
        else
            count = sum(two, count, term, n, all);
    }
    return count;
}

static double volume_filter(const struct vec *a, const struct vec *b, const struct vec *c,
                            const struct vec *d, double *bound)
{
    double ax = a->x - d->x, ay = a->y - d->y, az = a->z - d->z;
    double bx = b->x - d->x, by = b->y - d->y, bz = b->z - d->z;
    double cx = c->x - d->x, cy = c->y - d->y, cz = c->z - d->z;
    double bc = bx * cy, cb = cx * by, ca = cx * ay, ac = ax * cy, ab = ax * by, ba = bx * ay;
    *bound = side_bound * ((fabs(bc) + fabs(cb)) * fabs(az) + (fabs(ca) + fabs(ac)) * fabs(bz) +
                           (fabs(ab) + fabs(ba)) * fabs(cz));
    return az * (bc - cb) + bz * (ca - ac) + cz * (ab - ba);
}

int exact_side(struct vec a, struct vec b, struct vec c, struct vec d)
{
    double bound, value = volume_filter(&a, &b, &c, &d, &bound), all[VOLUME_MOST];
    if (value > bound || -value > bound)
        return sign(value);
    return expansion_sign(all, volume_exactly(&a, &b, &c, &d, all));
}

double exact_volume(struct vec a, struct vec b, struct vec c, struct vec d)
{
    double bound, value = volume_filter(&a, &b, &c, &d, &bound), all[VOLUME_MOST];
    if (fabs(value) * 0x1p-40 > bound)
        return value;
    int n = volume_exactly(&a, &b, &c, &d, all);
    value = 0;
    for (int i = 0; i < n; i++)
        value += all[i];
    return value;
}

/* The same value in as few components as may be, none of them overlapping the next: their number
 * is bounded by the range of their exponents (Shewchuk's "compress"). In place. */
static int compress(double *e, int n)
{
    int bottom = n - 1, count = 0;
    if (n == 0)
        return 0;
    double running = e[bottom];
    for (int i = n - 2; i >= 0; i--) {
        struct pair p = quick_two_sum(running, e[i]);
        running = p.high;
        if (p.low != 0) {
            e[bottom--] = running;
            running = p.low;
        }
    }
    e[bottom] = running;
    for (int i = bottom + 1; i < n; i++) {
        struct pair p = quick_two_sum(e[i], running);
        running = p.high;
        count = put(e, count, p.low);
    }
    return put(e, count, running);
}

/* Volumes of single-precision positions have bits from 2^-447 to 2^390, some 840 in all: far fewer than
 * SPAN components of 53. */
enum { SPAN = 22 };

/* |volume| times |volume|, exactly. */
static int volumes_product(const struct vec p[3], const struct vec *u, const struct vec q[3],
                           const struct vec *v, double h[2 * SPAN * SPAN])
{
    double e[VOLUME_MOST], f[VOLUME_MOST];
    int n = compress(e, volume_exactly(&p[0], &p[1], &p[2], u, e));
    int m = compress(f, volume_exactly(&q[0], &q[1], &q[2], v, f));
    assert(n <= SPAN && m <= SPAN);
    if (expansion_sign(e, n) < 0)
        negate(e, n);
    if (expansion_sign(f, m) < 0)
        negate(f, m);
    return product(e, n, f, m, h);
}

int exact_order(struct vec u, struct vec v, const struct vec p[3], const struct vec q[3])
{
    double left = fabs(exact_volume(p[0], p[1], p[2], u) * exact_volume(q[0], q[1], q[2], v));
    double right = fabs(exact_volume(q[0], q[1], q[2], u) * exact_volume(p[0], p[1], p[2], v));
    if (fabs(left - right) > 1e-11 * (left + right))
        return left < right ? -1 : 1;
    double e[2 * SPAN * SPAN], f[2 * SPAN * SPAN], all[4 * SPAN * SPAN];
    int n = volumes_product(p, &u, q, &v, e), m = volumes_product(q, &u, p, &v, f);
    negate(f, m);
    return expansion_sign(all, sum(e, n, f, m, all));
}

static int circle_exactly(const double a[2], const double b[2], const double c[2],
                          const double d[2])
{
    const double *p[3] = {a, b, c};
    struct gap x[3], y[3];
    for (int i = 0; i < 3; i++) {
        x[i] = gap(p[i][0], d[0]);
        y[i] = gap(p[i][1], d[1]);
    }
    double term[PRODUCT_MOST], one[PRODUCT_MOST], two[2 * PRODUCT_MOST], all[3 * PRODUCT_MOST];
    int count = 0;
    for (int i = 0; i < 3; i++) {
        int j = (i + 1) % 3, k = (i + 2) % 3;
        struct minor m = minor(&x[j], &y[j], &x[k], &y[k]);
        double xx[8], yy[8], lift[16];
        int n = product(x[i].e, x[i].n, x[i].e, x[i].n, xx);
        n = sum(xx, n, yy, product(y[i].e, y[i].n, y[i].e, y[i].n, yy), lift);
        n = product(m.e, m.n, lift, n, i ? term : one);
        if (i == 0)
            count = n;
        else if (i == 1)
            count = sum(one, count, term, n, two);
        else
            count = sum(two, count, term, n, all);
    }
    return expansion_sign(all, count);
}

int exact_circle(const double a[2], const double b[2], const double c[2], const double d[2])
{
    double ax = a[0] - d[0], ay = a[1] - d[1], bx = b[0] - d[0], by = b[1] - d[1];
    double cx = c[0] - d[0], cy = c[1] - d[1];
    double bc = bx * cy, cb = cx * by, ca = cx * ay, ac = ax * cy, ab = ax * by, ba = bx * ay;
    double a2 = ax * ax + ay * ay, b2 = bx * bx + by * by, c2 = cx * cx + cy * cy;
    double value = a2 * (bc - cb) + b2 * (ca - ac) + c2 * (ab - ba);
    double most =
        (fabs(bc) + fabs(cb)) * a2 + (fabs(ca) + fabs(ac)) * b2 + (fabs(ab) + fabs(ba)) * c2;
    double bound = circle_bound * most;
    if (value > bound || -value > bound)
        return sign(value);
    return circle_exactly(a, b, c, d);
}

static int plane_exactly(const struct vec *normal, double offset, const struct vec *p)
{
    const double n[3] = {normal->x, normal->y, normal->z}, q[3] = {p->x, p->y, p->z};
    double all[2][7] = {{-offset}};
    int count = offset != 0;
    for (int i = 0; i < 3; i++) {
        double term[2];
        int terms = from_pair(two_product(n[i], q[i]), term);
        count = sum(all[i % 2], count, term, terms, all[(i + 1) % 2]);
    }
    return expansion_sign(all[1], count);
}

int exact_plane(struct vec normal, double offset, struct vec p)
{
    double x = normal.x * p.x, y = normal.y * p.y, z = normal.z * p.z;
    double value = x + y + z - offset;
    double bound = plane_bound * (fabs(x) + fabs(y) + fabs(z) + fabs(offset));
    if (value > bound || -value > bound)
        return sign(value);
    return plane_exactly(&normal, offset, &p);
}
