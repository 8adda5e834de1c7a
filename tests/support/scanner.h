/* Made-up scans: what a range camera sees of a solid given by a function. */
#ifndef FETTLE_TESTS_SCANNER_H
#define FETTLE_TESTS_SCANNER_H

#include "core/mesh.h"
#include "scan/rigid.h"
#include "tests/support/solids.h"

struct scanner {
    struct vec from;  /* the direction the camera stands in */
    double spacing;   /* of its pixels, mm */
    double noise;     /* standard deviation along its rays, mm */
    double roll;      /* radians, of the camera about its axis */
    double radius;    /* mm: of a ball about zero that holds the solid */
    bool points_only; /* a cloud without triangles or normals */
    uint64_t seed;
    const struct mesh *surface; /* unless NULL this is looked at, no solid */
};

/* The range image of one view, in the solid's own coordinates: a grid of pixels, what hides behind
 * something is not seen, neighbours are joined where the surface runs on (steeper than 75 degrees
 * it does not). The caller frees; never NULL. */
struct mesh *scanner_view(solid_distance solid, const struct scanner *scanner);

/* A random pose: any turn, a shift of up to `far` mm. */
struct rigid scanner_pose(uint64_t *seed, double far);
/* A turn by `angle` degrees about a random axis through zero, then a shift of `shift` mm any way.
 */
struct rigid scanner_knock(double angle, double shift, uint64_t *seed);
/* The mesh moved by it. The caller frees. */
struct mesh *scanner_moved(const struct mesh *mesh, const struct rigid *pose);

/* RMS distance between where two motions take the mesh's points, mm. */
double scanner_error(const struct mesh *mesh, const struct rigid *found, const struct rigid *truth);

/* The mesh with `share` of its points (0 to 1) added as stray ones in the box around it, without
 * triangles of their own in a cloud, as specks of a triangle each in a mesh. The caller frees. */
struct mesh *scanner_stray(const struct mesh *mesh, double share, uint64_t *seed);

/* A normally distributed number. */
double scanner_gauss(uint64_t *seed);

#endif
