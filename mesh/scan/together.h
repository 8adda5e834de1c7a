/* Best fit of many scans at once, so that errors do not pile up along a chain. */
#ifndef FETTLE_SCAN_TOGETHER_H
#define FETTLE_SCAN_TOGETHER_H

#include "scan/links.h"

/* Moves the poses (each scan's coordinates to common ones; the first `fixed`, one or more, stay)
 * until all scans lie on each other best: at each step the links between all pairs are found anew,
 * and one system of equations is solved for all motions (simultaneous registration, as in K. Pulli,
 * "Multiview Registration for Large Data Sets", 3DIM 1999, but with the symmetric tangent planes of
 * icp.h). Links beyond 2.5 sigma of their pair do not count. The poses must be near already:
 * `reach` mm. */
enum status together_fit(const struct surfels *const *scan, size_t count, size_t fixed,
                         double reach, struct rigid *pose, struct job *job);

#endif
