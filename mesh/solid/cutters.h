/* Tools that cut fixing features: closed meshes to be subtracted.
 *
 * Round parts are made of facets that touch the nominal circle from outside, an even number of
 * them, two by two opposite: so a hole's narrowest width is its nominal diameter, and its widest,
 * across the edges, at most CUTTER_EXCESS more. */
#ifndef FETTLE_SOLID_CUTTERS_H
#define FETTLE_SOLID_CUTTERS_H

#include "core/mesh.h"

#define CUTTER_EXCESS 0.01 /* mm */

struct cutter_place {
    struct vec at;    /* world, mm: where the axis meets the surface, depth 0 */
    struct vec along; /* unit: into the material */
    struct vec up;    /* unit, square to along; what a keyhole's slot runs to */
    double origin[3]; /* of the mesh that is made: that of the mesh it will cut */
};

enum bore_head { BORE_NONE, BORE_COUNTERSUNK, BORE_COUNTERBORE };

struct bore { /* mm */
    double diameter;
    enum bore_head head;
    double mouth; /* diameter of the countersink at depth 0, or of the counterbore */
    double seat;  /* depth of the counterbore's floor */
    double above; /* how far before depth 0 the tool begins, as wide as the mouth; over 0 */
    double depth; /* of the flat end */
};

/* How far down the head's recess reaches: half of what a 90 degree countersink is wider than the
 * hole, or the counterbore's depth; 0: none. */
double bore_recess(const struct bore *bore);

/* The radius of the tool at a depth from 0 to bore->depth. */
double bore_radius(const struct bore *bore, double depth);

/* STATUS_REFUSED when its measures do not make a tool (a mouth no wider than the hole, no depth
 * left under the recess). */
enum status bore_cutter(const struct bore *bore, const struct cutter_place *place,
                        struct mesh **out, struct job *job);

struct keyhole {   /* mm; seen from the wall: a round entry, from its middle a slot upwards */
    double entry;  /* diameter that lets the head in; the pocket behind the slot is as wide */
    double slot;   /* width that lets the shank along */
    double travel; /* from the middle of the entry to where the shank comes to rest */
    double lip;    /* thickness the head holds behind: depth of the slot */
    double pocket; /* depth of the pocket behind the lip */
    double above;  /* as of a bore */
};

/* STATUS_REFUSED when the slot is as wide as the entry, or the travel too short to leave it. */
enum status keyhole_cutter(const struct keyhole *keyhole, const struct cutter_place *place,
                           struct mesh **out, struct job *job);

/* How many facets go round a circle of that radius: a multiple of 4. */
uint32_t cutter_facets(double radius);

#endif
