/* A made-up structured-light scanner with a turntable: a camera and a projector look at an object
 * that stands on a disc, from several sides; what both see becomes points. */
#ifndef FETTLE_EXAMPLES_SCANNER_H
#define FETTLE_EXAMPLES_SCANNER_H

#include "core/mesh.h"
#include "solid/place.h"

struct scanner {
    const struct mesh *object;        /* its true surface, in its own frame */
    double (*distance)(struct vec p); /* the same, exactly: points are put onto it */
    void (*colour)(struct vec p, uint8_t rgb[3]);
    struct motion stands; /* from the object's frame into the scanner's: on the disc z = 0 */
    double disc;          /* its radius, mm */
    double spacing;       /* of the points that are kept, mm */
    double noise;         /* standard deviation along the ray, mm */
    int views;            /* around */
    uint64_t seed;
};

/* The points of one scan in the scanner's frame, thinned to one in a cube of `spacing`, with
 * colour, normal and confidence. Seen is what camera and projector both see; missing is what they
 * see too flatly; beside depth steps some points fly, and specks hang in the air. NULL: out of
 * memory. The caller frees. */
struct mesh *scanner_scan(const struct scanner *scanner);

/* The same scan as a scanner leaves it that makes a mesh of every view: one piece of as many shells
 * as there are views, overlapping and not joined, with colour and confidence. Neighbouring pixels
 * are joined unless their depths differ by more than a few; nothing is thinned. */
struct mesh *scanner_shells(const struct scanner *scanner);

/* Random numbers that are the same on every machine: 0 to 1; normally distributed. */
double scanner_uniform(uint64_t *state);
double scanner_gauss(uint64_t *state);

#endif
