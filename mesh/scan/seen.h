/* Where a scan was seen from, and what else should have been seen from there. */
#ifndef FETTLE_SCAN_SEEN_H
#define FETTLE_SCAN_SEEN_H

#include "scan/rigid.h"
#include "scan/surfels.h"

struct aim {           /* one way a camera may have stood */
    struct vec toward; /* unit: to where it stands */
    struct vec right, up;
    double nearness; /* 1 / mm: of its distance from the surfels' zero; 0: far off */
    double low[2];   /* of the picture, along right and up */
    int width, height;
    float *depth; /* along `toward`, mm: the greatest seen at a pixel or beside it; -INFINITY where
                     nothing was */
};

/* A camera and its pictures. Where it stood is known but nearly, so there are several aims: what
 * one of them can explain is explained. */
enum { AIMS = 7 };
struct camera {
    bool single; /* one camera saw all of the scan; else there are no pictures */
    bool sharp;  /* where it stood is known well: the points lie evenly in its picture, though some
                    may be hidden there, as where edges bleed */
    struct aim aim[AIMS];
    int aims;
    double pixel; /* mm */
};

/* Looks for a place from which every surfel faces the camera and none hides another, and if it can
 * the one from which all points (of `full`) lie evenly, as a camera's pixels do; pictures are of
 * `thin`. The caller releases; on failure nothing is owned. */
enum status camera_find(const struct surfels *full, const struct surfels *thin, struct camera *out,
                        struct job *job);
void camera_release(struct camera *camera);

/* Of another scan's surfels the share that the camera contradicts at the pose: it looked through
 * the place where they would be, or past it. Those that it might have missed (seen at more than 50
 * degrees) are left out; where less than a tenth is left, the share of that tenth. `samples`: how
 * many are asked about. The pose takes the other's coordinates to the camera's. */
double camera_misses(const struct camera *camera, const struct surfels *other,
                     const struct rigid *pose, size_t samples);

/* The share of another scan's surfels that stand well before what the camera saw: it looked through
 * them. Here it matters not which way they face, for what is in the way of a ray stops it even if
 * nothing of it is seen; what the camera saw nothing behind tells nothing. As camera_misses. */
double camera_through(const struct camera *camera, const struct surfels *other,
                      const struct rigid *pose, size_t samples);

#endif
