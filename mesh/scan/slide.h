/* Directions in which two surfaces that lie on each other can still move. */
#ifndef FETTLE_SCAN_SLIDE_H
#define FETTLE_SCAN_SLIDE_H

#include "scan/links.h"

enum { SLIDE_TEXT = 200 };
struct slide {
    int free;              /* how many of the six motions nothing holds; 0: none */
    double weakest;        /* mm that distances change (RMS) for a mm of the motion held least */
    char text[SLIDE_TEXT]; /* "may turn about z: nearly round"; "" when nothing is free */
};

/* From the eigenvectors of touch->stiffness: a motion is free when a millimetre of it changes the
 * distances by less than SLIDE_BELOW (after N. Gelfand et al., "Geometrically Stable Sampling for
 * the ICP Algorithm", 2003, where the condition number is used).
 */
#define SLIDE_BELOW 0.03
void slide_find(const struct touch *touch, struct slide *out);

/* "z", or "0.60,0.00,0.80": names a unit direction, up to its sign. */
enum { SLIDE_AXIS = 40 };
void slide_axis(struct vec direction, char out[SLIDE_AXIS]);

#endif
