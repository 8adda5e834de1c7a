/* Made-up scans of small solids whose true surface is known, and how near to it they were fused. */
#ifndef FETTLE_TESTS_SCANS_H
#define FETTLE_TESTS_SCANS_H

#include "scan/fuse.h"
#include "tests/support/scanner.h"

/* Solids some 20 mm across, in the middle of the frame; distances exact near the surface. */
double small_ball(struct vec p);                    /* 9 mm */
double small_torus(struct vec p);                   /* 8 mm about z, tube 3 mm */
double small_cuboid(struct vec p, struct vec half); /* half: of its sides */
double small_box(struct vec p);                     /* 16 x 12 x 10 mm */
double small_plate(struct vec p);                   /* 16 x 12 x 1.2 mm */
double small_two_balls(struct vec p);               /* 4 mm, at x = -5 and 5 */

enum { SCANS_VIEWS = 6, SCANS_MOST = 8 };

/* The sides of a cube that stands on a corner: three from above, three from below. */
extern const struct vec scans_from[SCANS_VIEWS];

/* mm: what the task's own figures are asked at. */
extern const double scans_spacing, scans_noise;

struct scans {
    struct mesh *mesh[SCANS_MOST];
    size_t count;
};

/* The first `views` views of scans_from; freed by scans_free. */
struct scans scans_of(solid_distance solid, double apart, double off, size_t views);
void scans_free(struct scans *scans);

/* Six views from above: five around, 32 degrees high, and one from the top. What faces down is seen
 * by none. */
struct scans scans_from_above(solid_distance solid, double apart, double off);

/* Any direction, all as likely; unit. */
struct vec scans_direction(uint64_t *state);

/* Fused; asserts that it worked. The caller frees. */
struct mesh *scans_fused(const struct scans *scans, const struct fuse_options *options,
                         struct fuse_report *report);

/* Asserts: closed, oriented, manifold, no crossings, nothing degenerate. */
void scans_check_solid(const struct mesh *mesh);

/* Manifold, with or without rims. */
bool scans_manifold(const struct mesh *mesh);

struct scans_errors {     /* of triangles of one origin, at their middles */
    double rms, p95, max; /* mm, of amounts */
    double low, high;     /* the farthest inside (negative) and outside */
    double share;         /* of the whole area */
};
struct scans_errors scans_errors(const struct mesh *mesh, solid_distance solid,
                                 enum surface_origin which);

/* Red above z = 0, blue below; `glare`: white where the scan was taken from squarely. */
void scans_paint(struct mesh *mesh, struct vec from, bool glare);

#endif
