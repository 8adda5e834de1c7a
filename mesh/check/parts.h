/* Parts of the surface that do not hang together: those of some size, and floating bits, each of
 * which has less than a hundredth of the largest part's area (common practice, no source). */
#ifndef FETTLE_CHECK_PARTS_H
#define FETTLE_CHECK_PARTS_H

#include "check/check.h"

struct part {
    uint32_t component; /* of mesh_components */
    double area;        /* mm2 */
};

struct parts {
    struct part *part; /* the largest first */
    size_t count;
    size_t large; /* so many of them are no bits; the rest are */
};

/* The parts of a joined mesh; released by the caller. On failure nothing is owned. */
enum status parts_find(const struct mesh *mesh, struct parts *out, struct job *job);
void parts_release(struct parts *parts);

/* Where parts from..end-1 are: the middles of their boxes; *kept: how many (PLACES_MOST at most).
 * The caller frees. NULL: job_status. */
struct place *parts_places(const struct mesh *mesh, const struct parts *parts, size_t from,
                           size_t end, size_t *kept, struct job *job);

#endif
