/* Double-precision vectors, by value. Lengths are millimetres. */
#ifndef FETTLE_CORE_VEC_H
#define FETTLE_CORE_VEC_H

#include <math.h>

struct vec {
    double x, y, z;
};

static inline struct vec vec(double x, double y, double z)
{
    return (struct vec){x, y, z};
}
static inline struct vec vec_add(struct vec a, struct vec b)
{
    return vec(a.x + b.x, a.y + b.y, a.z + b.z);
}
static inline struct vec vec_sub(struct vec a, struct vec b)
{
    return vec(a.x - b.x, a.y - b.y, a.z - b.z);
}
static inline struct vec vec_scale(struct vec a, double s)
{
    return vec(a.x * s, a.y * s, a.z * s);
}
/* a + s b */
static inline struct vec vec_along(struct vec a, double s, struct vec b)
{
    return vec(a.x + s * b.x, a.y + s * b.y, a.z + s * b.z);
}
static inline double vec_dot(struct vec a, struct vec b)
{
    return a.x * b.x + a.y * b.y + a.z * b.z;
}
static inline struct vec vec_cross(struct vec a, struct vec b)
{
    return vec(a.y * b.z - a.z * b.y, a.z * b.x - a.x * b.z, a.x * b.y - a.y * b.x);
}
static inline double vec_length2(struct vec a)
{
    return vec_dot(a, a);
}
static inline double vec_length(struct vec a)
{
    return sqrt(vec_dot(a, a));
}
/* A unit vector along a, however short a is; the zero vector (and one that is not finite) gives
 * zero. Scaled by the largest component first, so that tiny triangles keep their direction. */
static inline struct vec vec_unit(struct vec a)
{
    double m = fmax(fabs(a.x), fmax(fabs(a.y), fabs(a.z)));
    if (!(m > 0) || !isfinite(m))
        return vec(0, 0, 0);
    a = vec(a.x / m, a.y / m, a.z / m);
    return vec_scale(a, 1 / sqrt(vec_dot(a, a)));
}

/* Two unit vectors that make a right-handed frame with the unit vector n. */
static inline void vec_frame(struct vec n, struct vec *u, struct vec *v)
{
    struct vec a = fabs(n.x) < 0.6 ? vec(1, 0, 0) : fabs(n.y) < 0.6 ? vec(0, 1, 0) : vec(0, 0, 1);
    *u = vec_unit(vec_cross(a, n));
    *v = vec_cross(n, *u);
}

#endif
