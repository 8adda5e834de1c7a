#include "solid/around.h"

#include "core/exact.h"

void flatten(struct vec p, int dropped, double flat[2])
{
    flat[0] = dropped == 0 ? p.y : dropped == 1 ? p.z : p.x;
    flat[1] = dropped == 0 ? p.z : dropped == 1 ? p.x : p.y;
}

int flat_turn(struct vec a, struct vec b, struct vec c, int dropped)
{
    double p[2], q[2], r[2];
    flatten(a, dropped, p);
    flatten(b, dropped, q);
    flatten(c, dropped, r);
    return exact_turn(p, q, r);
}

int flat_way(const struct vec t[3], int *dropped)
{
    int first = largest_part(vec_cross(vec_sub(t[1], t[0]), vec_sub(t[2], t[0])));
    for (int k = 0; k < 3; k++) {
        *dropped = (first + k) % 3;
        int turn = flat_turn(t[0], t[1], t[2], *dropped);
        if (turn)
            return turn;
    }
    return 0;
}

int around_turned(const struct axis *a, struct vec r, struct vec p)
{
    int side = -exact_side(a->from, a->to, r, p), dropped;
    if (side)
        return side > 0 ? BEFORE_HALF : PAST_HALF;
    const struct vec plane[3] = {a->from, a->to, r};
    int own = flat_way(plane, &dropped);
    return own * flat_turn(a->from, a->to, p, dropped) > 0 ? SAME : HALF;
}

bool around_sooner(const struct axis *a, struct vec r, struct vec p, struct vec q)
{
    int to_p = around_turned(a, r, p), to_q = around_turned(a, r, q);
    return to_p != to_q ? to_p < to_q : around_turned(a, p, q) == BEFORE_HALF;
}
