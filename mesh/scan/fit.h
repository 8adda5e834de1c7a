/* Best fit of one piece to another from where they are. */
#ifndef FETTLE_SCAN_FIT_H
#define FETTLE_SCAN_FIT_H

#include "scan/icp.h"
#include "scan/slide.h"

/* A piece at several spacings, the coarsest first; the last is all of it. */
enum { PYRAMID_MOST = 3 };
struct pyramid {
    struct surfels level[PYRAMID_MOST];
    int levels;
};

/* Levels with the given spacings (coarse first), those not wider than the piece's own left out,
 * then the piece itself. The caller releases; on failure nothing is owned. */
enum status pyramid_make(const struct mesh *mesh, const double spacing[PYRAMID_MOST - 1],
                         struct pyramid *out, struct job *job);
void pyramid_release(struct pyramid *pyramid);

static inline const struct surfels *pyramid_finest(const struct pyramid *pyramid)
{
    return &pyramid->level[pyramid->levels - 1];
}

/* mm: distances up to this count as the same surface: three times what the two scans' blur makes of
 * one, or three tenths of the wider spacing. */
double fit_tolerance(const struct surfels *a, const struct surfels *b);

struct fit {
    struct rigid motion; /* that brings the moving piece onto the fixed one, in the world */
    struct touch touch;  /* what it comes to */
    struct slide slide;
    double tolerance; /* mm */
    double misses;    /* share of one piece that the camera of the other contradicts: it looked
                         through where that would be; negative: not asked, or there is no camera */
};

/* Moves a pose from level to level; the pose is between the pyramids' own coordinates. `reach`: mm,
 * of the coarsest level. */
enum status fit_levels(const struct pyramid *moving, const struct pyramid *fixed, double reach,
                       struct rigid *pose, struct job *job);

/* The best fit of `moving` to `fixed` from their present pose: coarse to fine, from a few turned
 * starts as well when the first one does not get hold. STATUS_REFUSED with a message when a piece
 * has no surface, or they do not come to lie on each other anywhere. */
enum status fit_find(const struct mesh *moving, const struct mesh *fixed, struct fit *out,
                     struct job *job);

#endif
