/* Joining vertices that lie near each other. */
#ifndef FETTLE_SURFACE_WELD_NEAR_H
#define FETTLE_SURFACE_WELD_NEAR_H

#include "core/mesh.h"

struct weld_report {
    size_t joined;  /* vertices that are gone */
    size_t dropped; /* triangles of which two corners became one */
};

/* Joins vertices no farther than `gap` (mm) from each other; gap 0: those in the same place.
 * Vertices are taken in their order: each joins the nearest of those before it that is within reach
 * and has joined none itself. So no vertex moves farther than the gap, however many lie in a row,
 * and those that stay lie farther apart than it. With `rims`, only vertices on a boundary move and
 * are joined to. Attributes are averaged. Triangles that collapse are dropped, with vertices no
 * triangle uses.
 *
 * Returns a new, joined mesh; NULL on failure. The report may not be NULL. */
struct mesh *weld_near(const struct mesh *mesh, double gap, bool rims, struct weld_report *report,
                       struct job *job);

#endif
