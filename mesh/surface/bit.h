/* One bit of a scan: all that hangs together with a place on it. */
#ifndef FETTLE_SURFACE_BIT_H
#define FETTLE_SURFACE_BIT_H

#include "core/mesh.h"

struct bit_report {
    size_t taken, left; /* triangles (points of a cloud) */
    double area;        /* mm2 that was taken away; 0 for a cloud */
};

/* The mesh without the bit that triangle `at` (a cloud: point `at`) belongs to or, with `others`,
 * without all else. A bit of a surface hangs together across edges; one of a cloud by points within
 * three spacings (core/apart.h) of each other along each axis. Points no triangle uses go from a
 * mesh. Shared when nothing goes. STATUS_REFUSED when nothing would be left. The caller frees. */
enum status bit_drop(const struct mesh *mesh, uint32_t at, bool others, struct mesh **out,
                     struct bit_report *report, struct job *job);

#endif
