/* Where a scan was seen from, and what else should have been seen from there. */
#ifndef FETTLE_SCAN_SEEN_H
#define FETTLE_SCAN_SEEN_H

#include "scan/rigid.h"
#include "scan/surfels.h"

/* A camera far off, and how near to it the surface comes, pixel by pixel. */
struct camera {
    bool single;       /* one direction shows all of the scan; else the rest is of no use */
    struct vec toward; /* unit: to where the camera stands */
    struct vec right, up;
    double pixel;  /* mm */
    double low[2]; /* of the picture, mm along right and up */
    int width, height;
    float *depth; /* along `toward`, mm; -INFINITY where nothing was seen */
};

/* Looks for a direction from which every surfel faces the camera and none hides another. The caller
 * releases; on failure nothing is owned. */
enum status camera_find(const struct surfels *surfels, struct camera *out, struct job *job);
void camera_release(struct camera *camera);

/* Of another scan's surfels that would face the camera (within 50 degrees) at the pose, the share
 * that it should have seen but did not: nothing was seen there, or what was lies behind them. Where
 * less than a tenth of all faces it, the share of that tenth. The pose takes the other's coordinates
 * to the camera's. */
double camera_misses(const struct camera *camera, const struct surfels *other,
                     const struct rigid *pose);

#endif
