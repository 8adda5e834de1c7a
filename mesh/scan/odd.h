/* Why a piece fits nowhere: it may be mirrored, or of another scale. */
#ifndef FETTLE_SCAN_ODD_H
#define FETTLE_SCAN_ODD_H

#include "scan/pairing.h"

struct odd {
    bool mirrored; /* its mirror image fits */
    double scale;  /* it fits when scaled by this; 0: it does not */
};

/* Tries a piece on what others make up: its mirror image; then the ratios of units that would bring
 * its size near `size` (mm, of a usual piece), and a ladder of scales from 0.6 to 1.7, each made
 * exact by a best fit that may scale. `radius` is that of the model's lands. */
enum status odd_find(const struct surfels *piece, const struct scan *model, double size,
                     const double radius[SCALES], struct odd *out, struct job *job);

#endif
