#include "core/closest.h"

#include <stdbool.h>

static void set(double weight[3], double a, double b, double c)
{
    weight[0] = a;
    weight[1] = b;
    weight[2] = c;
}

static void closest_of_edges(struct vec p, const struct vec corner[3], double weight[3])
{
    double best = INFINITY;
    for (int k = 0; k < 3; k++) {
        struct vec a = corner[k], b = corner[(k + 1) % 3];
        double w = closest_of_segment(p, a, b);
        double d = vec_length2(vec_sub(p, vec_along(a, w, vec_sub(b, a))));
        if (d >= best)
            continue;
        best = d;
        weight[k] = 1 - w;
        weight[(k + 1) % 3] = w;
        weight[(k + 2) % 3] = 0;
    }
}

void closest_of_triangle(struct vec p, const struct vec corner[3], double weight[3])
{
    struct vec ab = vec_sub(corner[1], corner[0]), ac = vec_sub(corner[2], corner[0]);
    struct vec ap = vec_sub(p, corner[0]), bp = vec_sub(p, corner[1]), cp = vec_sub(p, corner[2]);
    /* names: along which side, seen from which corner */
    double ab_a = vec_dot(ab, ap), ac_a = vec_dot(ac, ap);
    double ab_b = vec_dot(ab, bp), ac_b = vec_dot(ac, bp);
    double ab_c = vec_dot(ab, cp), ac_c = vec_dot(ac, cp);
    double a = ab_b * ac_c - ab_c * ac_b, b = ab_c * ac_a - ab_a * ac_c;
    double c = ab_a * ac_b - ab_b * ac_a, whole = a + b + c;
    bool thin = !(whole > 1e-10 * vec_length2(ab) * vec_length2(ac));
    if (a > 0 && b > 0 && c > 0 && !thin)
        set(weight, a / whole, b / whole, c / whole);
    else if (ab_a <= 0 && ac_a <= 0)
        set(weight, 1, 0, 0);
    else if (ab_b >= 0 && ac_b <= ab_b)
        set(weight, 0, 1, 0);
    else if (ac_c >= 0 && ab_c <= ac_c)
        set(weight, 0, 0, 1);
    else if (!thin && c <= 0 && ab_a >= 0 && ab_b <= 0)
        set(weight, -ab_b / (ab_a - ab_b), ab_a / (ab_a - ab_b), 0);
    else if (!thin && b <= 0 && ac_a >= 0 && ac_c <= 0)
        set(weight, -ac_c / (ac_a - ac_c), 0, ac_a / (ac_a - ac_c));
    else
        closest_of_edges(p, corner, weight);
}
