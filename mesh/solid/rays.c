#include "solid/rays.h"

struct ray {
    const struct rays *rays;
    const struct plane *plane; /* where it begins */
    int axis;
    int64_t at[2]; /* along the other axes, as spots have it */
    struct rays_count *count;
    bool unclear; /* it met a side of a triangle */
};

int plane_axis(const struct plane *plane)
{
    int axis = 0;
    for (int k = 1; k < 3; k++) {
        wide best = plane->normal[axis], now = plane->normal[k];
        if ((now < 0 ? -now : now) > (best < 0 ? -best : best))
            axis = k;
    }
    return axis;
}

/* The sign of the turn a b p, p the ray. */
static int ray_turn(const struct ray *ray, const int64_t a[3], const int64_t b[3])
{
    int u = axis_u(ray->axis), v = axis_v(ray->axis);
    int64_t one = (int64_t)1 << SPOT_FRACTION;
    wide turn = (wide)((b[u] - a[u]) * one) * (ray->at[1] - a[v] * one) -
                (wide)((b[v] - a[v]) * one) * (ray->at[0] - a[u] * one);
    return (turn > 0) - (turn < 0);
}

/* How high the plane is on the ray, as a fraction; its denominator is positive. */
static void height_of(const struct ray *ray, const struct plane *plane, struct big *over,
                      struct big *under)
{
    *over = big_of(plane->offset);
    struct big one = big_of((wide)1 << SPOT_FRACTION);
    *over = big_mul(over, &one);
    for (int k = 0; k < 2; k++) {
        struct big n = big_of(plane->normal[k ? axis_v(ray->axis) : axis_u(ray->axis)]);
        struct big at = big_of(ray->at[k]);
        n = big_mul(&n, &at);
        *over = big_sub(over, &n);
    }
    *under = big_of(plane->normal[ray->axis]);
    over->sign *= under->sign;
    under->sign = 1;
}

/* The same in double precision, and how far that may be off. */
static double rough_height(const struct ray *ray, const struct plane *plane, double *off)
{
    double over = (double)plane->offset * (1 << SPOT_FRACTION), size = fabs(over);
    for (int k = 0; k < 2; k++) {
        double n = (double)plane->normal[k ? axis_v(ray->axis) : axis_u(ray->axis)];
        over -= n * (double)ray->at[k];
        size += fabs(n * (double)ray->at[k]);
    }
    double under = (double)plane->normal[ray->axis];
    *off = 0x1p-48 * size / fabs(under);
    return over / under;
}

/* 1: the plane is above the ray's beginning, 0: there, -1: below. */
static int above_start(const struct ray *ray, const struct plane *plane)
{
    double off[2], rough = rough_height(ray, plane, &off[0]);
    rough -= rough_height(ray, ray->plane, &off[1]);
    if (fabs(rough) > off[0] + off[1] + fabs(rough) * 0x1p-50)
        return rough > 0 ? 1 : -1;
    struct big a, b, c, d;
    height_of(ray, plane, &a, &b);
    height_of(ray, ray->plane, &c, &d);
    a = big_mul(&a, &d);
    c = big_mul(&c, &b);
    return big_sub(&a, &c).sign;
}

/* Whether the ray may touch a triangle of which some side is in line with it. */
static bool in_reach(const struct ray *ray, int64_t p[3][3])
{
    for (int k = 0; k < 2; k++) {
        int axis = k ? axis_v(ray->axis) : axis_u(ray->axis);
        int64_t low = p[0][axis], high = low;
        for (int i = 1; i < 3; i++) {
            low = p[i][axis] < low ? p[i][axis] : low;
            high = p[i][axis] > high ? p[i][axis] : high;
        }
        if (ray->at[k] < low * ((int64_t)1 << SPOT_FRACTION) ||
            ray->at[k] > high * ((int64_t)1 << SPOT_FRACTION))
            return false;
    }
    return true;
}

static bool visit(uint32_t triangle, void *context)
{
    struct ray *ray = context;
    const struct rays *rays = ray->rays;
    int64_t p[3][3];
    int turn[3], zeros = 0, more = 0, less = 0;
    if (rays->component && rays->component[triangle] == rays->without)
        return true;
    for (int k = 0; k < 3; k++)
        spots_grid(rays->spots, mesh_point(rays->mesh)[mesh_triangle(rays->mesh)[triangle].v[k]],
                   p[k]);
    for (int k = 0; k < 3; k++) {
        turn[k] = ray_turn(ray, p[k], p[(k + 1) % 3]);
        zeros += turn[k] == 0;
        more += turn[k] > 0;
        less += turn[k] < 0;
    }
    if (more && less)
        return true;
    if (zeros && in_reach(ray, p)) {
        ray->unclear = true;
        return false;
    }
    if (zeros)
        return true;
    struct plane plane = plane_through(p[0], p[1], p[2]);
    int where = above_start(ray, &plane), way = more ? 1 : -1;
    ray->count->above += where > 0 ? way : 0;
    ray->count->on += where == 0 ? way : 0;
    ray->count->all_above += where > 0;
    ray->count->all_on += where == 0;
    return true;
}

/* Whether the ray is inside the facet for certain. */
static bool starts_inside(const struct ray *ray, const int64_t q[3][3])
{
    int u = axis_u(ray->axis), v = axis_v(ray->axis), way = 0;
    for (int k = 0; k < 3; k++) {
        const int64_t *a = q[k], *b = q[(k + 1) % 3];
        int64_t bu = b[u] - a[u], bv = b[v] - a[v];
        int64_t pu = ray->at[0] - a[u], pv = ray->at[1] - a[v];
        wide turn = (wide)bu * pv - (wide)bv * pu;
        wide off = (wide)llabs(bu) + llabs(bv) + llabs(pu) + llabs(pv) + 2;
        int now = turn > off ? 1 : turn < -off ? -1 : 0;
        if (!now || (way && now != way))
            return false;
        way = now;
    }
    return true;
}

static void cast(struct ray *ray)
{
    const struct spots *spots = ray->rays->spots;
    int by = -spots->shift - SPOT_FRACTION;
    double off, slack = ldexp(1, 8 - spots->shift), start = rough_height(ray, ray->plane, &off);
    struct vec low, high;
    for (int k = 0; k < 2; k++) {
        int axis = k ? axis_v(ray->axis) : axis_u(ray->axis);
        double at = ldexp((double)ray->at[k], by);
        (&low.x)[axis] = at - slack;
        (&high.x)[axis] = at + slack;
    }
    (&low.x)[ray->axis] = ldexp(start - off, by) - slack;
    (&high.x)[ray->axis] = INFINITY;
    *ray->count = (struct rays_count){0};
    ray->unclear = false;
    tree_box(ray->rays->tree, low, high, visit, ray);
}

bool rays_count(const struct rays *rays, const int64_t q[3][3], const struct plane *plane,
                struct rays_count *count)
{
    static const int weight[][3] = {{1, 1, 1}, {2, 3, 5}, {5, 2, 3}, {3, 5, 2},
                                    {7, 4, 1}, {1, 7, 4}, {4, 1, 7}, {11, 13, 17}};
    struct ray ray = {.rays = rays, .plane = plane, .axis = plane_axis(plane), .count = count};
    for (size_t i = 0; i < sizeof weight / sizeof *weight; i++) {
        const int *w = weight[i];
        for (int k = 0; k < 2; k++) {
            int axis = k ? axis_v(ray.axis) : axis_u(ray.axis);
            wide sum = (wide)q[0][axis] * w[0] + (wide)q[1][axis] * w[1] + (wide)q[2][axis] * w[2];
            ray.at[k] = (int64_t)(sum / (w[0] + w[1] + w[2]));
        }
        if (!starts_inside(&ray, q))
            continue;
        cast(&ray);
        if (!ray.unclear)
            return true;
    }
    return false;
}
