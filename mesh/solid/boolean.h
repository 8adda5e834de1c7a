/* What two solids have in common, are together, or one without the other. */
#ifndef FETTLE_SOLID_BOOLEAN_H
#define FETTLE_SOLID_BOOLEAN_H

#include "core/mesh.h"

enum boolean_kind { BOOLEAN_SUBTRACT, BOOLEAN_UNITE, BOOLEAN_COMMON };

struct boolean_report {
    size_t crossed[2];  /* triangles of either mesh that the other's surface cuts */
    size_t kept[2];     /* triangles of either mesh that stay as they are */
    size_t made;        /* triangles made in the place of the crossed ones */
    size_t parted;      /* vertices doubled where the result would only touch itself */
    double aside;       /* mm: how far the second was moved to get rid of crossings; mostly 0 */
    uint64_t crossings; /* pairs near the cut that still touch after all that; 0 but for misery */
};

/* a without b, a and b together, or what both have in common. Both must be closed, manifold along
 * their edges, facing outward, and must not cross themselves near each other; shells inside shells
 * are cavities. They are joined first if they are not. Where b's origin is another one, its
 * positions are rounded to a's.
 *
 * Both surfaces are cut along the curves in which they meet (Zhou, Grinspun, Zorin & Jacobson 2016,
 * "Mesh Arrangements for Solid Geometry"), triangles that lie in each other's plane included, and
 * the parts that bound the result are taken. All that decides (which triangles meet, in which order
 * cuts stand along an edge, which part is inside) is exact: each new vertex is known as the pair of
 * simplices (vertex, edge, face) whose insides meet there, and never by rounded coordinates
 * (indirect predicates: Attene 2020). So the result of two solids is closed and oriented whatever
 * their position. At the end the new vertices are rounded to single precision; what would then
 * touch itself in a vertex or edge only is parted by the least that can tell, and triangles that
 * cross by rounding are moved or joined (boolean_mend.c). Triangles lower than sixteen units are
 * turned into their neighbours, or they would fold when the result is moved about.
 *
 * What single precision can hardly tell apart is treated so: vertices of b within two units in the
 * last place of one of a are moved onto it first; solids thinner than a few units may be dropped
 * from the result; where crossings remain, b is tried again a few units aside (8, 16, 32). A unit
 * is 2^-23 of the largest coordinate beside the origin: 12 nm at 100 mm.
 *
 * Triangles the other mesh does not meet keep their corners' positions bit for bit, a's first, each
 * in its order. Attributes of new vertices on a's surface are a's. Triangles of b get the origin
 * "made" unless b has origins of its own.
 *
 * STATUS_REFUSED with what is wrong and what mends it when a mesh is no such solid or the result is
 * empty. The report may be NULL. */
enum status boolean_mesh(const struct mesh *a, const struct mesh *b, enum boolean_kind kind,
                         struct mesh **out, struct boolean_report *report, struct job *job);

#endif
