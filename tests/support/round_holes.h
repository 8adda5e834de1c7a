/* What the suites about holes found in a surface share. */
#ifndef FETTLE_TESTS_SUPPORT_ROUND_HOLES_H
#define FETTLE_TESTS_SUPPORT_ROUND_HOLES_H

#include "check/screw_holes.h"

/* What is promised of circles of many facets. */
extern const double holes_within_mm, holes_within_degrees;

/* The mesh's, which has them: borrowed. */
const struct screw_holes *holes_of(const struct mesh *mesh);

double degrees_between(struct vec a, struct vec b);

#endif
