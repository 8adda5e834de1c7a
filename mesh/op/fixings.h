/* The fixing features that were cut into a piece: where they are and what they are for, so that
 * what comes after (how it hangs, what to drill) need not find them again. A list is immutable,
 * counted, and goes along with its piece: whoever moves the piece moves it, and after any other
 * change of the mesh each feature is looked for again, and dropped when it is no longer there. */
#ifndef FETTLE_OP_FIXINGS_H
#define FETTLE_OP_FIXINGS_H

#include <stdatomic.h>

#include "core/mesh.h"
#include "solid/place.h"

enum fixing_kind { FIXING_BORE, FIXING_KEYHOLE };

struct fixing {
    enum fixing_kind kind;
    char screw[8];      /* "M4"; "" when only its measures are known */
    struct vec at;      /* world, mm, on the mean plane of the surface there: the bore's axis; of a
                           keyhole where the middle of the slot's upper end is */
    struct vec along;   /* unit: into the material */
    struct vec up;      /* unit, square to along: where a keyhole's slot runs to */
    double shank, head; /* of the screw, mm; 0: not known */
    double width;       /* of the bore, of the keyhole's slot */
    double depth;       /* mm from the surface, where it is that wide */
    bool through;       /* of a bore: out on the other side of what it was bored into */
    bool clear;         /* of one through: nothing more of the part lies on its axis */
    double length;      /* mm from rim to rim, or deep */
    double mouth, sunk; /* mm: of a bore's recess: diameter at the surface, depth; 0: none */
    bool cone;          /* that is countersunk, not counterbored */
    const char *by, *recess_by;        /* the standard that its width, its recess has; NULL: none */
    double entry, travel, lip, pocket; /* as of struct keyhole; 0 of a bore */
    double room; /* mm: how wide it is behind a keyhole's lip; INFINITY: there is no wall */
};

struct fixings {
    atomic_size_t refs;
    size_t count;
    struct fixing item[];
};

/* A new list with `more` behind those of `old` (which may be NULL, and stays). NULL: out of
 * memory. */
struct fixings *fixings_with(const struct fixings *old, const struct fixing *more, size_t count);
struct fixings *fixings_share(const struct fixings *fixings); /* NULL is allowed, so below */
void fixings_free(struct fixings *fixings);

/* Whether the two are one and the same: of a kind and about as wide, on one axis, in one place. */
bool fixing_same(const struct fixing *a, const struct fixing *b);

/* Where the motion takes them; what it enlarges has other measures and is for no screw by name. */
struct fixings *fixings_moved(const struct fixings *fixings, const struct motion *motion);

/* Those that the mesh still has: a hole as wide as it was, by a tenth and 0.3 mm, on either side of
 * its axis, and a lip that still holds the head. *kept: the same list shared, or a shorter one;
 * NULL when none is left. */
enum status fixings_look(const struct fixings *fixings, const struct mesh *mesh,
                         struct fixings **kept, struct job *job);

#endif
