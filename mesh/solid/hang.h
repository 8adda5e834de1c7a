/* How a body hangs on a wall by one or two keyholes, or is screwed to it.
 *
 * Assumed: the wall is upright and flat, the screws stand square to it and (two) level with each
 * other, the body is rigid and of one density, and nothing sticks: by one keyhole it swings freely
 * on its screw until its centre of mass is below; by two the line between them comes level. It is
 * drawn to the wall until what stands out farthest behind touches it. */
#ifndef FETTLE_SOLID_HANG_H
#define FETTLE_SOLID_HANG_H

#include "core/mass.h"

struct hook {         /* a keyhole; world, mm */
    struct vec at;    /* the middle of the slot's upper end, on the surface */
    struct vec along; /* unit: from the wall into the body */
    struct vec up;    /* unit, square to along */
    double play;      /* by which the slot is wider than the shank: the shank rests at its top */
};

struct hang {
    struct vec screw[2]; /* where the shanks are, on the wall's plane; of two the left one first,
                            seen by who stands before the wall */
    int screws;          /* 1 or 2 */
    struct vec out;      /* the body's own directions, unit, when it hangs: out of the wall, */
    struct vec up, side; /* upright, and to the right */
    double tilt;         /* degrees between upright and the slots: more than 0: the right side hangs
                            lower than the slots would have it */
    bool holds; /* false: its centre of mass is above the only screw, or not between the two */
    double across, below; /* mm of the centre of mass from the screw, or the middle of both: to the
                             right and below, before it swings */
    double share;         /* of the weight on the right one of two */
    double proud;         /* mm by which the back stands out behind the keyholes' plane */
    double arm;           /* mm of the centre of mass before the wall */
    double rest; /* mm below the screws where it still rests on the wall; 0: nowhere below */
    double width, height;   /* mm it takes up on the wall as it hangs */
    double low[2], high[2]; /* of that box, from the screw or the middle of both: right and up */
};

/* One hook, or two or more: of those the two farthest apart bear. `mass` is that of the meshes.
 * STATUS_REFUSED when two hooks are in one place; STATUS_CANCELLED. */
enum status hang_find(const struct mesh *const *mesh, size_t count, const struct mass *mass,
                      const struct hook *hook, size_t hooks, struct hang *out, struct job *job);

/* The same of a body that screws through it hold as it is put, `out` of the wall and `up`: nothing
 * swings, `tilt` is 0, `holds` true. place: where the screws go through, world; of several the two
 * farthest apart are screw[]. STATUS_REFUSED when `up` is along `out`; STATUS_CANCELLED. */
enum status hang_fix(const struct mesh *const *mesh, size_t count, const struct mass *mass,
                     const struct vec *place, size_t places, struct vec out, struct vec up,
                     struct hang *hang, struct job *job);

/* Degrees by which it tilts when one of two screws is 1 mm too high. */
double hang_tilt_per_mm(const struct hang *hang);

#endif
