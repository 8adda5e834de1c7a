/* A solid whose faces and edges lie in few planes. */
#ifndef FETTLE_TESTS_CARVED_H
#define FETTLE_TESTS_CARVED_H

#include "core/mesh.h"

/* A 50 mm block with steps, pockets, grooves and cavities carved out of its 10 mm cells at random:
 * planes along the lattice hold many of its faces and edges. Closed and a manifold. */
struct mesh *carved_block(uint64_t seed);

#endif
