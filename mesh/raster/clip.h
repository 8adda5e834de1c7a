/* Projected vertices, and the triangles that must be cut before they can be projected. */
#ifndef FETTLE_RASTER_CLIP_H
#define FETTLE_RASTER_CLIP_H

#include <stdint.h>

#include "raster/lens.h"

enum {
    SHOT_BITS = 12,
    SHOT_ONE = 1 << SHOT_BITS, /* steps in a sample */
    SHOT_MOST = 1 << 28,       /* |x| and |y| stay below: products of differences fit 64 bits */
    CLIP_MOST = 16             /* corners of a triangle cut by five planes, and some to spare */
};

enum { OFF_BEHIND = 1, OFF_LEFT = 2, OFF_RIGHT = 4, OFF_ABOVE = 8, OFF_BELOW = 16 };

struct shot {
    int32_t x, y; /* in steps */
    double q;     /* depth: see depth_order */
    uint32_t off; /* OFF_ bits when it cannot be seen and x, y do not count */
};

static inline struct shot shot_of(double x, double y, double q, bool behind)
{
    uint32_t off =
        (x >= -SHOT_MOST ? 0u : (uint32_t)OFF_LEFT) | (x <= SHOT_MOST ? 0u : (uint32_t)OFF_RIGHT) |
        (y >= -SHOT_MOST ? 0u : (uint32_t)OFF_ABOVE) | (y <= SHOT_MOST ? 0u : (uint32_t)OFF_BELOW);
    off = behind ? (uint32_t)OFF_BEHIND : off;
    x = off ? 0 : x;
    y = off ? 0 : y;
    return (struct shot){(int32_t)x, (int32_t)y, q, off};
}

/* Cuts the triangle with corners `view` (view coordinates) by the near plane and by the range of
 * shots, and projects what is left: up to CLIP_MOST corners of a convex polygon, in order. Corners
 * that are not off keep their shot, and an edge is cut alike in both its triangles, so that no gap
 * opens beside neighbours. Returns the number of corners, 0: nothing
 * is left. */
int clip_triangle(const struct lens *lens, const struct vec view[3], const struct shot shot[3],
                  struct shot corner[CLIP_MOST]);

#endif
