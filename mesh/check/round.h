/* Round hollow walls: what is left of the cylinders that bores, pockets and slots were cut with.
 *
 * Found by growing regions with the surface that is fitted to them (Besl & Jain 1988, "Segmentation
 * through variable-order surface fitting"): from an edge at which two faces lean towards each other
 * over the faces square to its direction, as far as their common edges fix a circle (Kasa 1976, "A
 * circle fitting procedure and its error analysis"); then over all that lies on that cylinder,
 * which is fitted anew meanwhile by Gauss-Newton (Shakarji 1998, "Least-squares fitting algorithms
 * of the NIST algorithm testing system"). Fitted are the edges between facets, as those lie on the
 * circle however the facets are cut into triangles; triangles too thin to tell which way they face
 * count by where they lie. */
#ifndef FETTLE_CHECK_ROUND_H
#define FETTLE_CHECK_ROUND_H

#include "core/mesh.h"
#include "core/topology.h"

struct cylinder {    /* local, mm */
    struct vec at;   /* on its axis: height 0 */
    struct vec axis; /* unit: which way heights count */
    double radius;
};

enum { ROUND_LOW, ROUND_HIGH, ROUND_ENDS };

struct round_end { /* where the wall ends, as heights along the axis */
    double least, mean, most;
    double inward;  /* share of the rim behind which the surface goes on towards the axis, and */
    double outward; /* away from it */
};

struct round {          /* a wall whose faces look towards its axis */
    struct cylinder on; /* through the edges between its facets */
    double narrow;      /* diameter that the facets leave free, mm */
    double off;         /* RMS distance of those edges from the circle, mm */
    double facet;       /* radians between neighbouring facets, at the most */
    double arc;         /* degrees of the circle that it takes up */
    struct vec middle;  /* unit, from the axis to the middle of what it takes up */
    struct round_end end[ROUND_ENDS];
    uint32_t first; /* its triangles: member[first] and the `count` - 1 after it */
    uint32_t count;
};

struct rounds {
    const struct mesh *mesh;
    const struct topology *topology;
    struct round *item;
    size_t count, room;
    uint32_t *member; /* ascending within each wall */
    size_t members, members_room;
    double trust;   /* mm: a triangle of less height may face anywhere */
    uint8_t *state; /* bits, one a triangle: for those who walk over them */
};

/* All walls that take up 100 degrees or more of a circle of 1 to 64 mm. The caller releases them,
 * also on failure. */
enum status rounds_find(const struct mesh *mesh, struct rounds *out, struct job *job);
void rounds_release(struct rounds *rounds);

/* --- what its files share ------------------------------------------------------------------- */

struct face {
    struct vec corner[3];
    struct vec normal; /* unit; zero when it has none */
    double area;
    bool sure; /* high enough for its normal to be believed */
};
struct face round_face(const struct rounds *rounds, uint32_t triangle);

/* A point as the cylinder sees it. */
struct polar {
    struct vec out; /* unit, square to the axis; zero on it */
    double radius, height;
};
struct polar cylinder_polar(const struct cylinder *c, struct vec p);

/* Radians about the axis from a to b, the short way; left-handed ones are negative. */
double polar_between(const struct cylinder *c, const struct polar *a, const struct polar *b);

/* A circle through points in the plane, as a cylinder's start; false: they do not tell. */
bool cylinder_start(const struct vec *point, size_t count, struct vec axis, struct cylinder *out);

/* Fits it to points near it, from where it is, in so many steps at the most. False: they do not
 * tell where it is. */
bool cylinder_fit(const struct vec *point, size_t count, int steps, struct cylinder *on);

/* The points' RMS distance from it. */
double cylinder_off(const struct vec *point, size_t count, const struct cylinder *on);

/* Sets what is told of a grown wall, whose triangles have ROUND_INSIDE set: facets, arc, ends. Of
 * no use when the job was cancelled meanwhile. */
enum { ROUND_INSIDE = 1, ROUND_OTHERS = 2 }; /* bits of the state; those from OTHERS on are free */
void round_look(const struct rounds *rounds, struct round *round, const struct job *job);

/* Which end of the wall a side of one of its triangles is, as it runs by so many radians about the
 * axis: the face is to its left, seen from there. */
static inline int round_side(double by)
{
    return by < 0 ? ROUND_LOW : ROUND_HIGH;
}

struct cone {     /* in which a wall goes on behind its end */
    double share; /* of the end; 0: there is none */
    double half;  /* radians between its side and the axis */
    double wide;  /* diameter at its far end, of what its facets leave free, mm: the mean around */
    double to;    /* mean height of its far end along the wall's axis */
};

/* The cone at that end of the wall, as far as it widens (a countersink). */
enum status round_cone(struct rounds *rounds, const struct round *round, int end, struct cone *out,
                       struct job *job);

#endif
