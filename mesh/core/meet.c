#include "core/meet.h"

#include "core/exact.h"

/* --- exactly --------------------------------------------------------------------------------- */

/* Coordinates without the one called `dropped`. */
static void flatten(struct vec p, int dropped, double flat[2])
{
    flat[0] = dropped == 0 ? p.y : p.x;
    flat[1] = dropped == 2 ? p.y : p.z;
}

static int flat_turn(struct vec a, struct vec b, struct vec c, int dropped)
{
    double p[2], q[2], r[2];
    flatten(a, dropped, p);
    flatten(b, dropped, q);
    flatten(c, dropped, r);
    return exact_turn(p, q, r);
}

/* A coordinate without which the triangle still has area; -1 when it has none at all. */
static int flat_way(const struct vec t[3])
{
    for (int dropped = 2; dropped >= 0; dropped--)
        if (flat_turn(t[0], t[1], t[2], dropped))
            return dropped;
    return -1;
}

/* p lies in the plane of t. */
static bool holds(const struct vec t[3], int dropped, struct vec p)
{
    int a = flat_turn(t[0], t[1], p, dropped), b = flat_turn(t[1], t[2], p, dropped);
    int c = flat_turn(t[2], t[0], p, dropped);
    return (a >= 0 && b >= 0 && c >= 0) || (a <= 0 && b <= 0 && c <= 0);
}

static bool between(double a, double x, double b)
{
    return a < b ? a <= x && x <= b : b <= x && x <= a;
}

/* x lies on the line of a and b. */
static bool on_segment(struct vec a, struct vec b, struct vec x)
{
    return between(a.x, x.x, b.x) && between(a.y, x.y, b.y) && between(a.z, x.z, b.z);
}

/* Two segments in one plane. */
static bool segments_meet(struct vec p, struct vec q, struct vec r, struct vec s, int dropped)
{
    int rs_p = flat_turn(r, s, p, dropped), rs_q = flat_turn(r, s, q, dropped);
    int pq_r = flat_turn(p, q, r, dropped), pq_s = flat_turn(p, q, s, dropped);
    if (rs_p * rs_q < 0 && pq_r * pq_s < 0)
        return true;
    return (!rs_p && on_segment(r, s, p)) || (!rs_q && on_segment(r, s, q)) ||
           (!pq_r && on_segment(p, q, r)) || (!pq_s && on_segment(p, q, s));
}

static bool flat_segment_meets(struct vec p, struct vec q, const struct vec t[3], int dropped)
{
    bool meets = holds(t, dropped, p) || holds(t, dropped, q);
    for (int k = 0; k < 3 && !meets; k++)
        meets = segments_meet(p, q, t[k], t[(k + 1) % 3], dropped);
    return meets;
}

/* The segment p q, whose ends lie on the given sides of the triangle's plane. */
static bool segment_meets(struct vec p, int p_side, struct vec q, int q_side, const struct vec t[3],
                          int dropped)
{
    if (p_side * q_side > 0)
        return false;
    if (!p_side && !q_side)
        return flat_segment_meets(p, q, t, dropped);
    if (!p_side || !q_side)
        return holds(t, dropped, p_side ? q : p);
    int a = exact_side(p, q, t[0], t[1]), b = exact_side(p, q, t[1], t[2]);
    if (a * b < 0)
        return false;
    int c = exact_side(p, q, t[2], t[0]);
    return a * c >= 0 && b * c >= 0;
}

/* Without common corners: an edge of one meets the other. */
static bool apart_ones_meet(const struct vec a[3], int a_way, const struct vec b[3], int b_way)
{
    int of_a[3], of_b[3];
    for (int k = 0; k < 3; k++)
        of_a[k] = exact_side(b[0], b[1], b[2], a[k]);
    if (of_a[0] == of_a[1] && of_a[1] == of_a[2] && of_a[0])
        return false;
    for (int k = 0; k < 3; k++)
        of_b[k] = exact_side(a[0], a[1], a[2], b[k]);
    if (of_b[0] == of_b[1] && of_b[1] == of_b[2] && of_b[0])
        return false;
    for (int k = 0; k < 3; k++) {
        int l = (k + 1) % 3;
        if (segment_meets(a[k], of_a[k], a[l], of_a[l], b, b_way) ||
            segment_meets(b[k], of_b[k], b[l], of_b[l], a, a_way))
            return true;
    }
    return false;
}

/* With a common corner: whatever ray from it both contain leaves one of them first, through the
 * edge opposite, inside the other. */
static bool corner_ones_meet(const struct vec a[3], int a_way, int i, const struct vec b[3],
                             int b_way, int j)
{
    struct vec a1 = a[(i + 1) % 3], a2 = a[(i + 2) % 3], b1 = b[(j + 1) % 3], b2 = b[(j + 2) % 3];
    int of_a1 = exact_side(b[0], b[1], b[2], a1), of_a2 = exact_side(b[0], b[1], b[2], a2);
    if (of_a1 * of_a2 > 0)
        return false;
    int of_b1 = exact_side(a[0], a[1], a[2], b1), of_b2 = exact_side(a[0], a[1], a[2], b2);
    return segment_meets(a1, of_a1, a2, of_a2, b, b_way) ||
           segment_meets(b1, of_b1, b2, of_b2, a, a_way);
}

/* With a common edge: only in one plane, on the same side of it. i, j: the corners opposite. */
static bool edge_ones_meet(const struct vec a[3], int a_way, int i, const struct vec b[3], int j)
{
    if (exact_side(a[0], a[1], a[2], b[j]))
        return false;
    struct vec u = a[(i + 1) % 3], v = a[(i + 2) % 3];
    return flat_turn(u, v, a[i], a_way) * flat_turn(u, v, b[j], a_way) > 0;
}

/* How two triangles hang together. */
struct joint {
    int corners; /* common ones; 3 when there are more */
    int i, j;    /* of a and of b: the one common corner, or the one that is not common */
};

static struct joint joint_of(shared_corners shared)
{
    struct joint joint = {__builtin_popcount(shared), 0, 0};
    if (joint.corners == 0 || joint.corners > 2)
        return joint;
    bool common = joint.corners == 1;
    while (joint.i < 2 && common != !!(shared >> 3 * joint.i & 7))
        joint.i++;
    while (joint.j < 2 && common != !!(shared >> joint.j & 0111))
        joint.j++;
    return joint;
}

static bool meet_exactly(const struct vec a[3], const struct vec b[3], struct joint joint)
{
    int a_way = flat_way(a), b_way = flat_way(b);
    if (a_way < 0 || b_way < 0)
        return false;
    if (joint.corners == 0)
        return apart_ones_meet(a, a_way, b, b_way);
    if (joint.corners == 1)
        return corner_ones_meet(a, a_way, joint.i, b, b_way, joint.j);
    return joint.corners > 2 || edge_ones_meet(a, a_way, joint.i, b, joint.j);
}

/* --- nearly always: apart by more than floating point can err
 * ------------------------------------- */

/* Bounds of what is rounded, in units of 2^-53 times a power of the largest coordinate difference s
 * (each operation errs by one unit of its result at most): a dot product of differences errs by
 * less than 64 s^2, of a cross product with a difference by 64 s^3, of products of four differences
 * by 256 s^4. Each includes the rounding of the differences themselves. */
#define UNIT 0x1p-53

struct spans {
    double two, three, four; /* the bounds */
};

static double largest(double most, struct vec d)
{
    return fmax(most, fmax(fabs(d.x), fmax(fabs(d.y), fabs(d.z))));
}

static struct spans spans_of(double s)
{
    return (struct spans){64 * UNIT * s * s, 64 * UNIT * s * s * s, 256 * UNIT * s * s * s * s};
}

/* Two directions lie clearly on the same side of the plane through the corner, normal n. */
static bool same_side(struct vec n, struct vec p, struct vec q, double bound)
{
    double x = vec_dot(n, p), y = vec_dot(n, q);
    return (x > bound && y > bound) || (x < -bound && y < -bound);
}

/* The plane through the edge `edge` of the sector edge, rest (normal n), upright on it, has the
 * sector on one side and p, q clearly on the other. */
static bool edge_parts(struct vec n, struct vec edge, struct vec rest, struct vec p, struct vec q,
                       double bound)
{
    struct vec across = vec_cross(n, edge);
    double x = vec_dot(across, p), y = vec_dot(across, q), own = vec_dot(across, rest);
    return (own > bound && x < -bound && y < -bound) || (own < -bound && x > bound && y > bound);
}

/* Sectors a1 a2 and b1 b2 from a common corner. */
static bool sectors_apart(struct vec a1, struct vec a2, struct vec b1, struct vec b2)
{
    struct spans bound = spans_of(largest(largest(largest(largest(0, a1), a2), b1), b2));
    struct vec na = vec_cross(a1, a2);
    if (same_side(na, b1, b2, bound.three))
        return true;
    struct vec nb = vec_cross(b1, b2);
    return same_side(nb, a1, a2, bound.three) || edge_parts(na, a1, a2, b1, b2, bound.four) ||
           edge_parts(na, a2, a1, b1, b2, bound.four) ||
           edge_parts(nb, b1, b2, a1, a2, bound.four) || edge_parts(nb, b2, b1, a1, a2, bound.four);
}

/* Corners a and b opposite a common edge, all from one end of it. */
static bool wings_apart(struct vec edge, struct vec a, struct vec b)
{
    struct spans bound = spans_of(largest(largest(largest(0, edge), a), b));
    struct vec na = vec_cross(edge, a), nb = vec_cross(edge, b);
    return vec_dot(na, nb) < -bound.four || fabs(vec_dot(na, b)) > bound.three;
}

/* All of b lies clearly beyond the plane through `from` with the normal n. */
static bool beyond(struct vec n, struct vec from, const struct vec b[3], double bound)
{
    for (int k = 0; k < 3; k++)
        if (!(vec_dot(n, vec_sub(b[k], from)) > bound))
            return false;
    return true;
}

/* The plane of a, or one upright on it through one of its edges, has b clearly beyond. */
static bool plane_parts(const struct vec a[3], const struct vec b[3], const struct spans *bound)
{
    struct vec n = vec_cross(vec_sub(a[1], a[0]), vec_sub(a[2], a[0]));
    if (beyond(n, a[0], b, bound->three) || beyond(vec_scale(n, -1), a[0], b, bound->three))
        return true;
    for (int k = 0; k < 3; k++)
        if (beyond(vec_cross(vec_sub(a[(k + 1) % 3], a[k]), n), a[k], b, bound->four))
            return true;
    return false;
}

static bool triangles_apart(const struct vec a[3], const struct vec b[3])
{
    double s = 0;
    for (int k = 0; k < 9; k++)
        s = largest(s, vec_sub(b[k % 3], a[k / 3]));
    for (int k = 1; k < 3; k++)
        s = largest(largest(s, vec_sub(a[k], a[k - 1])), vec_sub(b[k], b[k - 1]));
    s = largest(largest(s, vec_sub(a[2], a[0])), vec_sub(b[2], b[0]));
    struct spans bound = spans_of(s);
    return plane_parts(a, b, &bound) || plane_parts(b, a, &bound);
}

static bool clearly_apart(const struct vec a[3], const struct vec b[3], struct joint joint)
{
    struct vec a1 = a[(joint.i + 1) % 3], a2 = a[(joint.i + 2) % 3];
    struct vec b1 = b[(joint.j + 1) % 3], b2 = b[(joint.j + 2) % 3], v = a[joint.i];
    switch (joint.corners) {
    case 0:
        return triangles_apart(a, b);
    case 1:
        return sectors_apart(vec_sub(a1, v), vec_sub(a2, v), vec_sub(b1, v), vec_sub(b2, v));
    case 2:
        return wings_apart(vec_sub(a2, a1), vec_sub(v, a1), vec_sub(b[joint.j], a1));
    default:
        return false;
    }
}

/* Whether they certainly turn, seen along an axis: Shewchuk 1997, bound A. */
static bool surely_turns(const struct vec t[3], int dropped)
{
    double a[2], b[2], c[2];
    flatten(t[0], dropped, a);
    flatten(t[1], dropped, b);
    flatten(t[2], dropped, c);
    double left = (a[0] - c[0]) * (b[1] - c[1]), right = (a[1] - c[1]) * (b[0] - c[0]);
    return fabs(left - right) > (fabs(left) + fabs(right)) * 0x1.8p-52;
}

bool triangle_has_area(const struct vec t[3])
{
    return surely_turns(t, 2) || surely_turns(t, 1) || surely_turns(t, 0) || flat_way(t) >= 0;
}

bool triangles_meet(const struct vec a[3], const struct vec b[3], shared_corners shared)
{
    struct joint joint = joint_of(shared);
    return !clearly_apart(a, b, joint) && meet_exactly(a, b, joint);
}
