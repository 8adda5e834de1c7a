/* How far the points of a scan scatter about its surface. */
#ifndef FETTLE_SCAN_NOISE_H
#define FETTLE_SCAN_NOISE_H

#include "core/mesh.h"

struct noise {
    double deviation; /* standard, across the surface, mm; 0: too few places show a surface */
    unsigned around;  /* so many points make a neighbourhood four deviations wide to all sides */
};

/* The median over some hundred places spread evenly among the vertices (triangles do not matter).
 * `normal`: one a vertex, so that the other side of a thin wall is told from noise; NULL: not
 * known, and places where the points lie in two sheets do not count.
 *
 * At each place the neighbourhood grows until it is flat enough to be one of a surface (that it has
 * to be some times as wide as the noise is high: Mitra & Nguyen 2003, "Estimating Surface Normals
 * in Noisy Point Cloud Data"); what is left there beside the best quadric is noise. */
enum status noise_measure(const struct mesh *mesh, const struct point *normal, struct noise *out,
                          struct job *job);

#endif
