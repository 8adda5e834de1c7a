/* Clipping of a polygon by one plane after another (Sutherland & Hodgman 1974, "Reentrant polygon
 * clipping"). */
#include "raster/clip.h"

#include <stddef.h>

struct corner {
    struct vec at;
    const struct shot *shot; /* of an original corner that is not off */
};

struct plane { /* inside: x * v.x + y * v.y + z * v.z + w >= 0 */
    double x, y, z, w;
};

static double side(struct plane plane, struct vec v)
{
    return plane.x * v.x + plane.y * v.y + plane.z * v.z + plane.w;
}

/* The planes: near, then left, right, above, below just inside the range of shots. */
static int planes_of(const struct lens *lens, struct plane plane[5])
{
    int count = 0;
    const double most = (1 - 1e-6) * SHOT_MOST / SHOT_ONE;
    if (lens->perspective)
        plane[count++] = (struct plane){0, 0, -1, lens->eye - lens->near};
    for (int axis = 0; axis < 2; axis++)
        for (int sign = -1; sign <= 1; sign += 2) {
            double scale = sign * lens->scale[axis], reach = most + sign * lens->middle[axis];
            struct plane p = {axis == 0 ? scale : 0, axis == 1 ? scale : 0, 0, reach};
            if (lens->perspective) /* all times (eye - z) / eye */
                p.z = -reach / lens->eye;
            plane[count++] = p;
        }
    return count;
}

static bool before(struct vec a, struct vec b)
{
    return a.x != b.x ? a.x < b.x : a.y != b.y ? a.y < b.y : a.z < b.z;
}

/* Where the plane cuts the edge, reckoned the same from both its ends. */
static struct corner cut(const struct corner *a, const struct corner *b, struct plane plane)
{
    if (before(b->at, a->at)) {
        const struct corner *swap = a;
        a = b;
        b = swap;
    }
    double sa = side(plane, a->at), sb = side(plane, b->at);
    return (struct corner){vec_along(a->at, sa / (sa - sb), vec_sub(b->at, a->at)), NULL};
}

static int clip_by(struct plane plane, const struct corner *from, int count, struct corner *to)
{
    int made = 0;
    for (int i = 0; i < count && made + 2 <= CLIP_MOST; i++) {
        const struct corner *a = &from[i], *b = &from[i + 1 < count ? i + 1 : 0];
        bool in_a = side(plane, a->at) >= 0, in_b = side(plane, b->at) >= 0;
        if (in_a)
            to[made++] = *a;
        if (in_a != in_b)
            to[made++] = cut(a, b, plane);
    }
    return made;
}

static struct shot project(const struct lens *lens, struct vec v)
{
    double away = lens->eye - v.z, k = lens->perspective ? lens->eye / away : 1;
    double q = lens->perspective ? -1 / away : -v.z;
    return shot_of((lens->middle[0] + lens->scale[0] * v.x * k) * SHOT_ONE,
                   (lens->middle[1] + lens->scale[1] * v.y * k) * SHOT_ONE, q, false);
}

int clip_triangle(const struct lens *lens, const struct vec view[3], const struct shot shot[3],
                  struct shot corner[CLIP_MOST])
{
    struct plane plane[5];
    struct corner polygon[2][CLIP_MOST];
    int count = 3, planes = planes_of(lens, plane), now = 0;
    for (int k = 0; k < 3; k++)
        polygon[0][k] = (struct corner){view[k], shot[k].off ? NULL : &shot[k]};
    for (int i = 0; i < planes && count; i++, now ^= 1)
        count = clip_by(plane[i], polygon[now], count, polygon[now ^ 1]);
    for (int k = 0; k < count; k++) {
        const struct corner *c = &polygon[now][k];
        corner[k] = c->shot ? *c->shot : project(lens, c->at);
        if (corner[k].off)
            return 0; /* not finite */
    }
    return count;
}
