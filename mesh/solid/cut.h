/* Cutting a surface with a plane, and closing the cut. */
#ifndef FETTLE_SOLID_CUT_H
#define FETTLE_SOLID_CUT_H

#include "core/mesh.h"

struct cut_plane { /* world coordinates, mm */
    struct vec through;
    struct vec normal; /* towards the side that is kept; any length but zero */
};

struct cut_report {
    size_t removed;    /* triangles (of a point cloud: points) that went whole */
    size_t split;      /* triangles the plane goes through */
    size_t contours;   /* closed contours that were capped */
    size_t caps;       /* triangles of the cap */
    double cap_area;   /* mm2 */
    size_t open_edges; /* edges of the cut that belong to no closed contour, left open */
};

/* Keeps what lies on the side the normal points to and, with `cap`, closes the cut. A closed and
 * consistently oriented surface gives a closed one, wherever the plane passes: through vertices,
 * edges, faces that lie in it.
 *
 * Each vertex has one side, the same for all its triangles: above, below, or in the plane, which is
 * where it counts as lying when it is no farther from it than a single-precision position of its
 * size can tell (2^-23 of its largest coordinate: 12 nm at 100 mm). A new vertex stands once on
 * each edge that goes through, with attributes mixed. Faces in the plane are kept when they look
 * away from the side that is kept, as the cap would. Pieces that would touch in a point or along an
 * edge only are parted by the least that single precision can tell, so that the result is a
 * manifold. Thin triangles that rounding folds are mended: corners are drawn together or moved by
 * some such steps (not out of a plane square to an axis), needles turned into their neighbours.
 *
 * *out is the same mesh shared when nothing was cut off, or a new one. STATUS_REFUSED when nothing
 * would be left, or the normal is zero or anything is not finite. The report may be NULL. */
enum status cut_mesh(const struct mesh *mesh, const struct cut_plane *plane, bool cap,
                     struct mesh **out, struct cut_report *report, struct job *job);

#endif
