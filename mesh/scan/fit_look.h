/* A second look at a best fit that may have settled in the wrong place. */
#ifndef FETTLE_SCAN_FIT_LOOK_H
#define FETTLE_SCAN_FIT_LOOK_H

#include "scan/rigid.h"
#include "scan/surfels.h"

/* Looks for a better pose of `moving` on `fixed` near the given one (within some 60 degrees and a
 * third of the smaller piece's size): by places that look alike, as align does, judged by how the
 * surfaces agree and by what the cameras of the two would have seen. `present` is where the fit
 * began, `*pose` where it ended; that is kept unless another is better. *misses: the share of one
 * that the camera of the other contradicts at *pose, negative where that is not known. */
enum status fit_look(const struct surfels *moving, const struct surfels *fixed,
                     const struct rigid *present, struct rigid *pose, double *misses,
                     struct job *job);

#endif
