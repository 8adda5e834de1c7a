/* Standing on the floor: which side of a part goes down. */
#ifndef FETTLE_SOLID_STAND_H
#define FETTLE_SOLID_STAND_H

#include "core/mass.h"
#include "solid/place.h"
#include "solid/support.h"

struct stand_report {
    double area; /* mm2 of the flat that bears it: faces of the hull within a ten-thousandth of its
                    size from the floor */
    double margin; /* mm by which the centre of mass lies inside of what bears it, seen from above;
                      negative: it falls by itself */
    double height; /* mm of the centre of mass above the floor */
    double tilt;   /* degrees it may be tilted before it tips; negative: it falls by itself */
    enum mass_kind of; /* what the centre of mass is that of */
    struct stand_side {
        double turn; /* degrees by which it was turned to go down; INFINITY: there is none */
        double tilt;
    } lowest, nearest; /* where one of the two, or either, was asked for: how they compare, */
    bool is_nearest;   /* and which of them it is */
    size_t tried;      /* sides that were compared by their support; 0: it was not asked for */
    struct support support, before; /* as it stands; as it lay */
};

enum stand_by {
    STAND_LOWEST,  /* the centre of mass is lowest: where it comes to rest when nudged */
    STAND_LARGEST, /* the largest flat place that it can rest on; else the largest of all */
    STAND_SUPPORT, /* of the STAND_SIDES largest that it can rest on the one that needs the least
                      support; of equal ones the largest */
    STAND_NEAREST, /* nearest to the floor as it is, of those that it stands firmly on: it may be
                      tilted STAND_FIRM degrees; where there are none the lowest */
    STAND_AUTO     /* that, where it is within STAND_NEAR degrees and about as firm as the lowest:
                      what stood upright does so again; else the lowest */
};

enum { STAND_SIDES = 64, STAND_FIRM = 10, STAND_NEAR = 45 };

extern const double stand_level; /* of the size (the box's diagonal): what counts as on the floor */

/* Degrees, of a margin and a height. */
double stand_tilt(double margin, double height);

/* The motion that puts the pieces, taken together, on the floor z = 0, the middle of their box
 * above the world's zero. A part can rest on the faces of its convex hull. The lowest position of
 * the centre of mass is a stable one: it is taken when `on` is NULL, of equal ones the largest
 * face, then the one that points down most already. With `on` (world, mm) the face goes down that
 * lies best against the surface around the nearest point of the pieces; a point far off names the
 * side that faces it.
 *
 * STATUS_REFUSED when all points are on one line. */
enum status stand_find(const struct mesh *const *mesh, size_t count, const struct vec *on,
                       struct motion *motion, struct stand_report *report, struct job *job);

/* The same without a point, chosen otherwise; lean: see support.h. */
enum status stand_find_by(const struct mesh *const *mesh, size_t count, enum stand_by by,
                          double lean, struct motion *motion, struct stand_report *report,
                          struct job *job);

#endif
