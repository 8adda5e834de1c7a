/* How a body is balanced, and whether it stands as it lies. */
#ifndef FETTLE_SOLID_BALANCE_H
#define FETTLE_SOLID_BALANCE_H

#include "solid/stand.h"

struct balance {
    struct mass mass;
    double moment[3];   /* principal, the least first; amount times mm2 */
    struct vec axis[3]; /* theirs */
    double floor;       /* z of the lowest point, mm */
    size_t corners;     /* of the outline of what touches the floor there; under 3 it stands on a
                           point or an edge only */
    struct stand_report stand; /* on that floor */
};

/* Of the meshes taken together, of one density. They stand on what lies within stand_level of their
 * size from the lowest point; a body with fewer than 3 corners there does not stand, whatever the
 * margin. STATUS_REFUSED when there is no point at all. */
enum status balance_find(const struct mesh *const *mesh, size_t count, struct balance *out,
                         struct job *job);

#endif
