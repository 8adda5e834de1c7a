#include "scan/rigid.h"

struct rigid rigid_then(const struct rigid *first, const struct rigid *then)
{
    struct rigid both = {.shift = rigid_apply(then, first->shift)};
    for (int i = 0; i < 3; i++)
        for (int j = 0; j < 3; j++)
            for (int k = 0; k < 3; k++)
                both.turn[i][j] += then->turn[i][k] * first->turn[k][j];
    return both;
}

struct rigid rigid_inverse(const struct rigid *rigid)
{
    struct rigid back = {.shift = {0, 0, 0}};
    for (int i = 0; i < 3; i++)
        for (int j = 0; j < 3; j++)
            back.turn[i][j] = rigid->turn[j][i];
    back.shift = vec_scale(rigid_direction(&back, rigid->shift), -1);
    return back;
}

struct rigid rigid_in_world(const struct rigid *rigid, struct vec moving, struct vec fixed)
{
    struct rigid world = *rigid;
    world.shift = vec_add(vec_sub(rigid->shift, rigid_direction(rigid, moving)), fixed);
    return world;
}

struct rigid rigid_turn(struct vec a)
{
    double angle = vec_length(a), c = cos(angle), s = sin(angle);
    struct vec u = vec_unit(a);
    const double x[3] = {u.x, u.y, u.z};
    const double across[3][3] = {{0, -u.z, u.y}, {u.z, 0, -u.x}, {-u.y, u.x, 0}};
    struct rigid turned = rigid_rest();
    if (!(angle > 0))
        return turned;
    for (int i = 0; i < 3; i++) /* Rodrigues */
        for (int j = 0; j < 3; j++)
            turned.turn[i][j] = c * (i == j) + s * across[i][j] + (1 - c) * x[i] * x[j];
    return turned;
}

struct rigid rigid_tidy(const struct rigid *rigid)
{
    const double(*m)[3] = rigid->turn;
    struct vec x = vec_unit(vec(m[0][0], m[0][1], m[0][2])), y = vec(m[1][0], m[1][1], m[1][2]);
    y = vec_unit(vec_along(y, -vec_dot(x, y), x));
    struct vec z = vec_cross(x, y);
    return (struct rigid){{{x.x, x.y, x.z}, {y.x, y.y, y.z}, {z.x, z.y, z.z}}, rigid->shift};
}

double rigid_angle(const struct rigid *a, const struct rigid *b)
{
    double far2 = 0; /* the difference of the turns has 8 sin^2(angle / 2) as its sum of squares */
    for (int i = 0; i < 9; i++) {
        double d = a->turn[i / 3][i % 3] - b->turn[i / 3][i % 3];
        far2 += d * d;
    }
    return 2 * asin(fmin(1, sqrt(far2 / 8)));
}

struct rigid rigid_between(const struct frame *from, const struct frame *to)
{
    struct rigid motion = {.shift = {0, 0, 0}};
    for (int k = 0; k < 3; k++) {
        const double a[3] = {to->axis[k].x, to->axis[k].y, to->axis[k].z};
        const double b[3] = {from->axis[k].x, from->axis[k].y, from->axis[k].z};
        for (int i = 0; i < 9; i++)
            motion.turn[i / 3][i % 3] += a[i / 3] * b[i % 3];
    }
    motion.shift = vec_sub(to->at, rigid_direction(&motion, from->at));
    return motion;
}
