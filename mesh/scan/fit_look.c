#include "scan/fit_look.h"

#include <math.h>

#include "scan/pairing.h"

enum { PLACES = 500 };
static const double turned_most = 1.05, moved_most = 1 / 3.0; /* radians; of the size */

static enum status make_both(const struct surfels *const both[2], double size, struct scan scan[2],
                             struct job *job)
{
    double radius[SCALES];
    enum status status = STATUS_OK;
    for (int k = 0; k < SCALES; k++)
        radius[k] = scan_radius[k] * size;
    for (int i = 0; i < 2 && status == STATUS_OK; i++)
        status = scan_make(both[i], radius, &scan[i], job);
    for (int i = 0; i < 2 && status == STATUS_OK; i++)
        status = scan_look(&scan[i], job);
    return status;
}

enum status fit_look(const struct surfels *moving, const struct surfels *fixed,
                     const struct rigid *present, struct rigid *pose, double *misses,
                     struct job *job)
{
    const struct surfels *const both[2] = {moving, fixed};
    struct scan scan[2] = {{.full = NULL}, {.full = NULL}};
    double size = fmin(moving->size, fixed->size);
    const struct pairing_near near = {*present, *pose, turned_most, moved_most * size};
    const struct pairing_rule rule = {
        .places = PLACES, .guesses = GUESSES_MOST, .faces = false, .near = &near};
    struct pairing found;
    enum status status = make_both(both, size, scan, job);
    if (status == STATUS_OK)
        status = pairing_find(&scan[0], &scan[1], &rule, &found, job);
    if (status == STATUS_OK) {
        *pose = found.pose;
        *misses = found.misses;
    }
    for (int i = 0; i < 2; i++)
        scan_release(&scan[i]);
    return status;
}
