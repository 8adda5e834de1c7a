/* Objects that look the same turned, or nearly so, each given by a function. */
#ifndef FETTLE_TESTS_EQUALS_H
#define FETTLE_TESTS_EQUALS_H

#include "tests/support/solids.h"

/* Turned by any angle about z: */
double equal_vase(struct vec p);     /* a profile of three bulges on a foot */
double equal_cylinder(struct vec p); /* and turned over */
/* By a part of a turn: */
double equal_nut(struct vec p);   /* six flats with bevelled corners, a bore: sixths, and over */
double equal_gear(struct vec p);  /* ten teeth, a hub on one side: tenths */
double equal_prism(struct vec p); /* three sides: thirds, and over */
double equal_box(struct vec p);   /* three lengths: half turns about x, y and z */
/* Nearly: */
double unequal_nut(struct vec p);  /* a notch in one flat */
double unequal_vase(struct vec p); /* one handle */

/* The volume of what lies within the box of +-48 mm, mm3, to about 1 in 1000. */
double equal_volume(solid_distance solid);
/* How far a point lies from the surface, mm, where that is near. */
double equal_off(solid_distance solid, struct vec p);

#endif
