#include "solid/spots.h"

#include <math.h>

enum { GRID_BITS = 40, EXACT_LIMBS = 5 };

struct exact { /* x, y, z, denominator > 0 */
    uint64_t limb[4][EXACT_LIMBS];
    int8_t sign[4], limbs[4];
};

void spots_init(struct spots *spots, const struct mesh *mesh)
{
    float most = 0;
    for (size_t v = 0; v < mesh_vertices(mesh); v++) {
        struct point p = mesh_point(mesh)[v];
        most = fmaxf(most, fmaxf(fabsf(p.x), fmaxf(fabsf(p.y), fabsf(p.z))));
    }
    int exponent = 0;
    frexp((double)most, &exponent);
    *spots = (struct spots){.shift = GRID_BITS - exponent};
}

void spots_release(struct spots *spots)
{
    pile_release(&spots->spot);
    pile_release(&spots->exact);
    lookup_release(&spots->at);
}

void spots_grid(const struct spots *spots, struct point p, int64_t grid[3])
{
    grid[0] = llrint(ldexp((double)p.x, spots->shift));
    grid[1] = llrint(ldexp((double)p.y, spots->shift));
    grid[2] = llrint(ldexp((double)p.z, spots->shift));
}

struct vec spots_place(const struct spots *spots, uint32_t spot)
{
    const struct spot *s = spot_at(spots, spot);
    int by = -spots->shift - SPOT_FRACTION;
    double half = s->exact == NO_INDEX ? 0 : 0.5;
    return vec(ldexp((double)s->q[0] + half, by), ldexp((double)s->q[1] + half, by),
               ldexp((double)s->q[2] + half, by));
}

/* --- planes ----------------------------------------------------------------------------------- */

static wide dot(const wide n[3], const int64_t p[3])
{
    return n[0] * p[0] + n[1] * p[1] + n[2] * p[2];
}

struct plane plane_through(const int64_t a[3], const int64_t b[3], const int64_t c[3])
{
    struct plane plane;
    for (int k = 0; k < 3; k++) {
        int u = axis_u(k), v = axis_v(k);
        plane.normal[k] = (wide)(b[u] - a[u]) * (c[v] - a[v]) - (wide)(b[v] - a[v]) * (c[u] - a[u]);
    }
    plane.offset = dot(plane.normal, a);
    return plane;
}

struct plane plane_upright(const int64_t a[3], const int64_t b[3], int axis)
{
    struct plane plane = {{0, 0, 0}, 0};
    plane.normal[axis_u(axis)] = b[axis_v(axis)] - a[axis_v(axis)];
    plane.normal[axis_v(axis)] = a[axis_u(axis)] - b[axis_u(axis)];
    plane.offset = dot(plane.normal, a);
    return plane;
}

int plane_side(const struct plane *plane, const int64_t p[3])
{
    wide height = dot(plane->normal, p) - plane->offset;
    return (height > 0) - (height < 0);
}

/* --- the store -------------------------------------------------------------------------------- */

static void exact_set(struct exact *to, int i, const struct big *value)
{
    to->sign[i] = (int8_t)value->sign;
    to->limbs[i] = (int8_t)value->limbs;
    memset(to->limb[i], 0, sizeof to->limb[i]);
    memcpy(to->limb[i], value->limb, (size_t)value->limbs * sizeof *value->limb);
}

/* A spot's x, y, z (0 to 2) or denominator (3). */
static struct big exact_get(const struct spots *spots, const struct spot *s, int i)
{
    struct big value;
    if (s->exact == NO_INDEX)
        return big_of(i == 3 ? 1 : s->q[i] >> SPOT_FRACTION);
    const struct exact *from = PILE(spots->exact, struct exact) + s->exact;
    value.sign = from->sign[i];
    value.limbs = from->limbs[i];
    memcpy(value.limb, from->limb[i], sizeof from->limb[i]);
    return value;
}

static int compare(const struct spots *spots, const struct spot *a, const struct spot *b, int axis)
{
    if (a->q[axis] != b->q[axis] || (a->exact == NO_INDEX && b->exact == NO_INDEX))
        return (a->q[axis] > b->q[axis]) - (a->q[axis] < b->q[axis]);
    struct big x = exact_get(spots, a, axis), y = exact_get(spots, b, axis);
    struct big over = exact_get(spots, b, 3), under = exact_get(spots, a, 3);
    struct big left = big_mul(&x, &over), right = big_mul(&y, &under);
    return big_sub(&left, &right).sign;
}

/* The spot's number, when one is there already; else it is added. */
static bool number_of(struct spots *spots, struct spot s, const struct exact *exact,
                      uint32_t *number)
{
    uint32_t *slot = lookup_at(
        &spots->at, (uint64_t)s.q[0] * 0x9E3779B97F4A7C15u + (uint64_t)s.q[1], (uint64_t)s.q[2]);
    struct exact *to = exact ? pile_next(&spots->exact, sizeof *to) : NULL;
    struct spot *spot = pile_next(&spots->spot, sizeof *spot);
    if (!slot || !spot || (exact && !to))
        return false;
    if (exact) { /* it is counted when it is new */
        *to = *exact;
        s.exact = (uint32_t)spots->exact.count;
    }
    for (uint32_t i = *slot; i != NO_INDEX; i = spot_at(spots, i)->next) {
        const struct spot *other = spot_at(spots, i);
        if (compare(spots, &s, other, 0) == 0 && compare(spots, &s, other, 1) == 0 &&
            compare(spots, &s, other, 2) == 0) {
            *number = i;
            return true;
        }
    }
    s.next = *slot;
    *slot = *number = (uint32_t)spots->spot.count++;
    *spot = s;
    spots->exact.count += exact != NULL;
    return true;
}

bool spots_vertex(struct spots *spots, const int64_t p[3], bool alone, uint32_t *number)
{
    struct spot s = {.exact = NO_INDEX, .next = NO_INDEX};
    for (int k = 0; k < 3; k++)
        s.q[k] = p[k] * ((int64_t)1 << SPOT_FRACTION);
    if (!alone)
        return number_of(spots, s, NULL, number);
    struct spot *spot = pile_next(&spots->spot, sizeof *spot);
    if (!spot)
        return false;
    *spot = s;
    *number = (uint32_t)spots->spot.count++;
    return true;
}

static bool add_exact(struct spots *spots, struct big value[4], uint32_t *number)
{
    struct spot s = {.next = NO_INDEX};
    struct exact exact;
    int turn = value[3].sign;
    for (int k = 0; k < 4; k++)
        value[k].sign *= turn;
    for (int k = 0; k < 4; k++)
        exact_set(&exact, k, &value[k]);
    for (int k = 0; k < 3; k++)
        s.q[k] = big_floor(&value[k], &value[3], SPOT_FRACTION);
    return number_of(spots, s, &exact, number);
}

bool spots_line(struct spots *spots, const int64_t u[3], const int64_t v[3],
                const struct plane *plane, uint32_t *number)
{
    const int64_t way[3] = {v[0] - u[0], v[1] - u[1], v[2] - u[2]};
    struct big under = big_of(dot(plane->normal, way));
    struct big over = big_of(plane->offset - dot(plane->normal, u)), value[4];
    for (int k = 0; k < 3; k++) {
        struct big from = big_of(u[k]), by = big_of(way[k]);
        from = big_mul(&from, &under);
        by = big_mul(&by, &over);
        value[k] = big_add(&from, &by);
    }
    value[3] = under;
    return add_exact(spots, value, number);
}

static void cross(const struct plane *a, const struct plane *b, struct big out[3])
{
    for (int k = 0; k < 3; k++) {
        struct big au = big_of(a->normal[axis_u(k)]), av = big_of(a->normal[axis_v(k)]);
        struct big bu = big_of(b->normal[axis_u(k)]), bv = big_of(b->normal[axis_v(k)]);
        au = big_mul(&au, &bv);
        av = big_mul(&av, &bu);
        out[k] = big_sub(&au, &av);
    }
}

bool spots_planes(struct spots *spots, const struct plane *a, const struct plane *b,
                  const struct plane *c, uint32_t *number)
{
    const struct plane *plane[3] = {a, b, c};
    struct big value[4] = {{0}, {0}, {0}, {0}}, across[3];
    for (int i = 0; i < 3; i++) {
        struct big offset = big_of(plane[i]->offset);
        cross(plane[(i + 1) % 3], plane[(i + 2) % 3], across);
        for (int k = 0; k < 3; k++) {
            struct big part = big_mul(&across[k], &offset);
            value[k] = big_add(&value[k], &part);
            if (i > 0)
                continue;
            struct big normal = big_of(a->normal[k]);
            part = big_mul(&across[k], &normal);
            value[3] = big_add(&value[3], &part);
        }
    }
    return add_exact(spots, value, number);
}

/* --- predicates ------------------------------------------------------------------------------- */

static wide size_of(int64_t x)
{
    return x < 0 ? -(wide)x : x;
}

static int exact_turn_of(const struct spots *spots, const struct spot *const p[3], int u, int v)
{
    struct big sum = {0};
    for (int i = 0; i < 3; i++) { /* the determinant of the rows u, v, denominator */
        const struct spot *q = p[(i + 1) % 3], *r = p[(i + 2) % 3];
        struct big x = exact_get(spots, q, u), y = exact_get(spots, r, v);
        struct big left = big_mul(&x, &y), w = exact_get(spots, p[i], 3);
        x = exact_get(spots, q, v);
        y = exact_get(spots, r, u);
        struct big right = big_mul(&x, &y);
        left = big_sub(&left, &right);
        left = big_mul(&left, &w);
        sum = big_add(&sum, &left);
    }
    return sum.sign;
}

int spots_turn(const struct spots *spots, uint32_t a, uint32_t b, uint32_t c, int dropped)
{
    const struct spot *p[3] = {spot_at(spots, a), spot_at(spots, b), spot_at(spots, c)};
    int u = axis_u(dropped), v = axis_v(dropped);
    int64_t bu = p[1]->q[u] - p[0]->q[u], bv = p[1]->q[v] - p[0]->q[v];
    int64_t cu = p[2]->q[u] - p[0]->q[u], cv = p[2]->q[v] - p[0]->q[v];
    wide turn = (wide)bu * cv - (wide)bv * cu;
    bool exact = p[0]->exact == NO_INDEX && p[1]->exact == NO_INDEX && p[2]->exact == NO_INDEX;
    wide off = exact ? 0 : size_of(bu) + size_of(bv) + size_of(cu) + size_of(cv) + 2;
    if (turn > off || turn < -off || exact)
        return (turn > 0) - (turn < 0);
    return exact_turn_of(spots, p, u, v);
}

int spots_order(const struct spots *spots, uint32_t a, uint32_t b, int axis)
{
    return compare(spots, spot_at(spots, a), spot_at(spots, b), axis);
}
