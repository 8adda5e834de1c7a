/* Invented objects for made-up scans, each given by a function. */
#ifndef FETTLE_TESTS_SOLIDS_H
#define FETTLE_TESTS_SOLIDS_H

#include <stdint.h>

#include "core/vec.h"

/* About how far p lies outside the solid (inside: negative), mm; never more than that. */
typedef double (*solid_distance)(struct vec p);

/* Each is some 80 to 130 mm across. `solids_vary` changes the proportions of all of them with a
 * seed. Rounded: */
double solid_jug(struct vec p);     /* turned, with a spout and a handle */
double solid_pebbles(struct vec p); /* round stones grown together */
double solid_mask(struct vec p);    /* a bent plate with relief on it */
/* Made of flat faces: */
double solid_bracket(struct vec p); /* plates, a boss, bores, a rib */
double solid_steps(struct vec p);   /* a stepped block with bores and a slot */
double solid_ribs(struct vec p);    /* a plate with ribs of unequal heights */
double solid_nut(struct vec p);     /* six flats, a bore, a collar; a notch and a ledge */
double solid_housing(struct vec p); /* a box with a round boss, a block and bevels */
double solid_frame(struct vec p);   /* a window frame with lugs and a wedge */
/* What holds nothing: */
double solid_ball(struct vec p);
double solid_rod(struct vec p); /* a round bar longer than what is seen */
void solids_vary(uint64_t seed);

#endif
