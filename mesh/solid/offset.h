/* The surface at a distance from a solid's surface, outside of it or within.
 *
 * Method: the exact signed distance (nearest triangle; side by the angle-weighted normal,
 * Baerentzen & Aanaes 2005) on a sparse grid that an octree finds: a cube is left out when the
 * distance at its middle says that the surface cannot pass it, distances changing no faster than
 * one walks. The signs are made well-composed (core/sheet.h), so the net of one vertex a cell
 * (core/net.h) is a closed manifold. Each vertex is then put on the exact distance: by Newton's
 * steps where the field is smooth; where it has a crease, on the point that lies best in the
 * tangent planes of samples around it, drawn in until they are those of the crease itself (after
 * dual contouring, Ju et al. 2002). Then every triangle is proved to be nowhere nearer than it
 * should, as a whole: the tree is asked how near the solid's surface comes to it; where that is too
 * near, vertices move away from the solid until it is not. Where triangles cross, the room between
 * them is too thin for the grid: its nodes go to the solid's side and the surface is made anew
 * there.
 *
 * A triangle counts as no farther off than allowed, a twenty-fifth of the distance, only when that
 * is proved (core/within.h). Where one is not, or room was too thin, all is done again on a grid
 * that is halved twice, its vertices drawn together to those of cubes of cells wherever these are a
 * disk of the surface and no triangle is then too far off: so the net is fine where it has to be.
 *
 * In the end vertices are drawn together wherever the triangles between them stay within what was
 * proved (offset_thin.c): what is flat needs few triangles however large it is, and stays as flat
 * as it was.
 *
 * So work and memory grow with the surface, not with the volume. */
#ifndef FETTLE_SOLID_OFFSET_H
#define FETTLE_SOLID_OFFSET_H

#include "core/mesh.h"

#define OFFSET_SLACK 0.01 /* mm: no point of the surface is nearer by more than that, */

/* nor than half the distance: so near, mm. */
static inline double offset_nearest(double by)
{
    return by - OFFSET_SLACK > by / 2 ? by - OFFSET_SLACK : by / 2;
}

struct offset_options {
    double by;      /* the distance, mm, over 0 */
    bool inward;    /* within the solid; else around it */
    double spacing; /* of the new vertices at first, about, mm; 0: as distance and size ask for */
    bool hidden;    /* nobody will see it: thinned out by all that is allowed, up to a tenth of a
                       millimetre, and not only by OFFSET_SLACK / 2 */
};

struct offset_report {
    size_t made;    /* triangles of the surface; */
    size_t net;     /* before those were drawn together that say nothing; */
    double spacing; /* of the cells that were taken, mm; */
    double cell;    /* the finest cells that were: that, or a half or a quarter, mm */
    double least;   /* mm: the least distance met; offset_nearest says what is proved */
    double even;    /* mm: no farther off is all of the surface, which is proved, */
    double uneven;  /* but for this share of its area; */
    double bound;   /* mm: and nothing of that, nor places met where room was too thin for it */
    double most;    /* mm: the greatest distance met; */
    struct vec at;  /* world: there */
};

/* The surface at that distance from `mesh`, which must be a solid (solid_judge); facing away from
 * the mesh's surface: outward of an outward one, into the cavity of an inward one. Joined, closed,
 * a manifold, without crossings, without attributes. Edges of the solid are rounded on the side
 * they stick out to, and sharp on the other, as all points at one distance are. How far off it is
 * at the most the report says: by a twenty-fifth of the distance, but for a small share of it in
 * corners and along edges that the finest cells are too coarse for. Parts thinner than the distance
 * allows, and room narrower than a cell, have no surface: what lies so between surfaces has no node
 * of the grid in it, so is less than a cell's half diagonal farther off than all of the surface.
 * *out has no triangles when nothing is left. Same bytes whatever the thread count.
 * STATUS_REFUSED when the spacing is too fine. */
enum status offset_surface(const struct mesh *mesh, const struct offset_options *options,
                           struct mesh **out, struct offset_report *report, struct job *job);

/* How far inside the solid its deepest point is, world, and how deep: no deeper than it is, and
 * short of it by a thousandth or so. */
enum status offset_deepest(const struct mesh *mesh, double *depth, struct vec *at, struct job *job);

#endif
