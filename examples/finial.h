/* The demo's object, all invented: a weathered cast-iron gate finial about 140 mm tall, standing on
 * the plane z = 0, as an implicit surface. */
#ifndef FETTLE_EXAMPLES_FINIAL_H
#define FETTLE_EXAMPLES_FINIAL_H

#include <stdint.h>

#include "core/vec.h"

/* About how far p lies outside (positive) or inside (negative) the iron, mm: exact at the surface,
 * never wrong by more than a factor of two near it. */
double finial_distance(struct vec p);

/* Its colour at a point of the surface: rust, bare iron and what is left of green paint; sRGB. */
void finial_colour(struct vec p, uint8_t rgb[3]);

/* Smooth deterministic noise in -1 to 1 with features about 1 apart. */
double finial_noise(struct vec p);

#endif
