/* The angle-weighted normal at any point of the surface: J. A. Baerentzen, H. Aanaes, "Signed
 * Distance Computation Using the Angle Weighted Pseudonormal", IEEE Transactions on Visualization
 * and Computer Graphics 11 (2005). The triangles that meet there are asked of the tree, so neither
 * joined vertices nor a manifold are needed. */
#include "core/closest.h"
#include "core/tree_nodes.h"

struct meeting {
    const struct tree *tree;
    struct vec at;
    double near; /* how far off counts as there */
    struct vec sum;
};

static void corners_of(const struct tree *tree, uint32_t t, struct vec corner[3])
{
    for (int k = 0; k < 3; k++)
        corner[k] = point_vec(tree->point[tree->triangle[t].v[k]]);
}

static double size_of(struct vec p)
{
    return fmax(fabs(p.x), fmax(fabs(p.y), fabs(p.z)));
}

static struct vec normal_of(const struct vec corner[3])
{
    return vec_unit(vec_cross(vec_sub(corner[1], corner[0]), vec_sub(corner[2], corner[0])));
}

static double angle_between(struct vec a, struct vec b)
{
    return atan2(vec_length(vec_cross(a, b)), vec_dot(a, b));
}

/* The angle that the triangle takes around a point: its own in a corner, half a turn on an edge, a
 * whole turn inside, none when it is not there at all. */
static double angle_at(const struct vec corner[3], struct vec at, double near)
{
    const double half_turn = 3.14159265358979323846;
    for (int k = 0; k < 3; k++)
        if (vec_length(vec_sub(at, corner[k])) <= near)
            return angle_between(vec_sub(corner[(k + 1) % 3], corner[k]),
                                 vec_sub(corner[(k + 2) % 3], corner[k]));
    for (int k = 0; k < 3; k++) {
        struct vec a = corner[k], ab = vec_sub(corner[(k + 1) % 3], a);
        double w = closest_of_segment(at, a, corner[(k + 1) % 3]);
        if (vec_length(vec_sub(at, vec_along(a, w, ab))) <= near)
            return half_turn;
    }
    return sqrt(closest_distance2(at, corner)) <= near ? 2 * half_turn : 0;
}

static bool add_normal(uint32_t triangle, void *context)
{
    struct meeting *meeting = context;
    struct vec corner[3];
    corners_of(meeting->tree, triangle, corner);
    double angle = angle_at(corner, meeting->at, meeting->near);
    if (angle > 0)
        meeting->sum = vec_along(meeting->sum, angle, normal_of(corner));
    return true;
}

struct vec tree_normal(const struct tree *tree, const struct nearest *nearest)
{
    if (nearest->triangle == NO_INDEX || !tree->triangle)
        return vec(0, 0, 0);
    const double *w = nearest->weight;
    struct vec corner[3], p = nearest->point;
    corners_of(tree, nearest->triangle, corner);
    if (w[0] > 0 && w[1] > 0 && w[2] > 0)
        return normal_of(corner);
    double size = size_of(p); /* places on an edge are rounded as its ends are */
    for (int k = 0; k < 3; k++)
        size = fmax(size, size_of(corner[k]));
    double near = 2e-15 * size;
    struct meeting meeting = {tree, p, near, vec(0, 0, 0)};
    struct vec reach = vec(near, near, near);
    tree_box(tree, vec_sub(p, reach), vec_add(p, reach), add_normal, &meeting);
    return vec_unit(meeting.sum);
}
