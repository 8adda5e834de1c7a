/* Poses at which two scans might belong together, found from what their surfaces look like. */
#ifndef FETTLE_SCAN_MATCH_H
#define FETTLE_SCAN_MATCH_H

#include "scan/describe.h"

struct match {           /* a place of one scan that looks like a place of the other */
    struct rigid motion; /* that puts the one onto the other */
    struct vec from, to;
    double likeness; /* how far apart the lands are, beside what is usual there: small is good */
    double radius;   /* of the lands compared */
    uint32_t place;  /* of `from`: matches of the same place count once */
};

struct matches {
    struct match *match; /* the likest first */
    size_t count, room;
};

/* Adds matches of places spread over `a` (about `places` of them) to places of `b`, where those are
 * `apart` mm or more from them: of lands with themselves those close by say nothing, else it is 0.
 */
enum status matches_add(const struct lands *a, const struct lands *b, size_t places, double apart,
                        struct matches *out, struct job *job);
void matches_release(struct matches *matches);

struct guess {
    struct rigid motion;
    double support; /* how many matches agree with it */
};

/* Up to `most` different motions that the most matches agree with, the best first, each brought to
 * the mean of those; `guess` has room for `most`. Returns how many; SIZE_MAX when out of memory
 * or cancelled (the job says). Grouping by geometric consistency, as is common practice. */
size_t matches_group(struct matches *matches, size_t most, struct guess *guess, struct job *job);

#endif
