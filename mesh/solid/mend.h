/* A mesh in any state made a solid that prints: closed, manifold, facing outward, crossing itself
 * nowhere. */
#ifndef FETTLE_SOLID_MEND_H
#define FETTLE_SOLID_MEND_H

#include "core/mesh.h"
#include "surface/fill.h"

struct mend_options {
    bool open;             /* leave holes open, mend everything else */
    enum fill_shape shape; /* how holes are closed */
};

struct mend_report {
    size_t unused;              /* points that no triangle used, taken out */
    size_t degenerate, doubled; /* triangles without area; doubled ones, taken out */
    size_t joined;              /* vertices of rims that lay in one place but for the last bit */
    size_t turned;              /* triangles */
    size_t seams;               /* edges that more than two triangles had */
    size_t sheets;              /* open patches with no inside, taken out, */
    size_t sheet_triangles;     /* their triangles */
    struct vec sheet_at;        /* and a place on the largest */
    size_t folds;               /* pairs where the surface folds over, cut out and filled, */
    size_t fold_triangles;      /* the triangles that went */
    uint64_t crossings;         /* pairs of triangles parted by cutting */
    size_t inner;               /* triangles inside the solid, or on no side of it, taken out */
    size_t parted;              /* vertices doubled where it would only touch itself */
    double aside; /* mm: how far crossing triangles were moved to be told apart; mostly 0 */
    struct fill_report fill; /* of the holes: all that were filled, those left */
    bool odd;                /* a surface with one side only: inside by crossing it oddly often */
    bool changed;
    size_t left;        /* faults that remain: 0 but for misery, */
    struct vec left_at; /* and the place of one */
};

/* What is done, in this order:
 * - points that no triangle uses go.
 * - triangles without area go, and doubled ones that are one too many: of copies one stays, facing
 *   as most of them do, or none where as many face either way and the rest of the surface closes
 *   without. (Bodies that have triangles in common keep theirs until they are united.)
 * - rims that coincide to two units of single precision are joined (a unit: 2^-23 of the largest
 *   coordinate, 12 nm at 100 mm).
 * - where many triangles share an edge, those go together that bound solid (seams.h).
 * - neighbours are made to agree. A closed part keeps the side that most of it faces: outward, or
 *   into the hollow it bounds; facing inward with nothing around it is turned.
 * - open parts that face one way (their area vectors add up to more than 9/10 of their area) have
 *   no inside: they go when they are the lesser part. A sheet alone is refused.
 * - folds: where an open part crosses itself within a few triangles along the surface, it came
 *   back on itself by noise and neither layer is right. They go with a ring of neighbours, and the
 *   hole is filled as any (Attene 2010, "A Lightweight Approach to Repairing Digitized Polygon
 *   Meshes"). Where triangles that are far apart along the surface cross, or closed parts do, two
 *   bodies pass through each other and both are right: they are cut (below). Distance along the
 *   surface tells the two apart, whatever the size.
 * - holes are closed (surface/fill.h).
 * - all crossings are resolved exactly (arrange.h) and what bounds the inside is kept: where the
 *   surface winds around more than 0 times (outer.h). So bodies that overlap become one, and
 *   hollows stay. What would touch itself in a vertex or edge only is parted (seams.h), and what
 *   rounding to single precision did is mended (graft.h); as often as it takes. Where surfaces
 *   nearly coincide, so that this fails, the crossing triangles are moved 16, 64 or 256 units
 *   aside first.
 *
 * With `open`, holes stay as they are, and so do crossings of open parts that are no folds (they
 * are counted as left); sheets stay too unless they hang on an edge of others.
 *
 * Triangles that nothing of this touches keep their corners' positions bit for bit, in their order.
 * *out is a new mesh, or `mesh` shared when there was nothing to mend. STATUS_REFUSED with the
 * cause for clouds and for what has no inside. */
enum status mend(const struct mesh *mesh, const struct mend_options *options, struct mesh **out,
                 struct mend_report *report, struct job *job);

#endif
