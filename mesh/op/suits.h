/* Which screw of the tables a hole was made for, or lets through. */
#ifndef FETTLE_OP_SUITS_H
#define FETTLE_OP_SUITS_H

#include <stdbool.h>

#include "check/screw_holes.h"
#include "solid/screws.h"

/* mm: by how much a keyhole's entry is wider than the head, its slot than the shank; what the lip
 * overlaps of the head on either side, at the least. Common practice, no source. */
#define KEYHOLE_HEAD_PLAY 1.25
#define KEYHOLE_SHANK_PLAY 0.5
#define KEYHOLE_LEAST_HOLD 1.0

struct suits {
    bool any; /* false: none of the tables */
    enum screw screw;
    const struct measure_row *by; /* whose value the hole has; NULL: it only lets it through */
};

/* A bore: the screw whose clearance hole (ISO 273), or of a blind one whose insert's pilot, lies
 * within 0.06 mm of what its facets leave free and what its edges touch; else the largest screw
 * that passes and has less than a third of its width to spare. A keyhole: of the screws that it
 * holds, the one nearest to common practice (entry = head + 1.25 mm, slot = shank + 0.5 mm). */
struct suits suits_find(const struct screw_hole *hole);

/* The standard whose recess for that screw's head the bore has, to 0.1 mm; NULL: none. */
const struct measure_row *suits_recess(const struct screw_hole *hole, enum screw screw);

/* The head of that screw in a keyhole: of ISO 7045, or of a wood screw; mm. */
double suits_head(enum screw screw);

#endif
