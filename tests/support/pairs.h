/* Pairs of solids in all kinds of contact. */
#ifndef FETTLE_TESTS_PAIRS_H
#define FETTLE_TESTS_PAIRS_H

#include "core/mesh.h"

/* Two solids (closed, facing outward, crossing themselves nowhere) of a dozen kinds, in poses of
 * which more than a third are chosen so that faces lie in one plane, edges run along each other, or
 * vertices coincide. The caller frees both. */
void pair_make(uint64_t seed, struct mesh *pair[2]);

#endif
