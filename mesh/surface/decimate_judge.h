/* Whoever asked for a decimation has a say in each collapse (decimate_options.may). */
#ifndef FETTLE_SURFACE_DECIMATE_JUDGE_H
#define FETTLE_SURFACE_DECIMATE_JUDGE_H

#include "surface/decimate.h"
#include "surface/decimate_star.h"

struct judge { /* of one split */
    const struct decimate_options *options;
    const uint32_t *vertex_of; /* the original vertex of the patches' vertex_id; NULL: the same */
};

/* Whether the collapse may be; the star is then made anew if it goes elsewhere. */
bool judge_allows(const struct judge *judge, const struct patch *patch, struct star *star);

#endif
