/* Making the triangles of a surface agree, and face outward. */
#ifndef FETTLE_SURFACE_ORIENT_H
#define FETTLE_SURFACE_ORIENT_H

#include "core/mesh.h"

struct orient_report {
    size_t turned; /* triangles whose direction changed */
    /* Patches: what hangs together across edges of two triangles. */
    size_t outward;   /* closed (or all but) and facing outward */
    size_t hollows;   /* closed, inside another closed one, so facing into the hollow */
    size_t sheets;    /* open: facing the way most of their area did */
    size_t one_sided; /* no two sides to tell apart (a Moebius strip): turned as far as goes */
    size_t seams;     /* edges of theirs along which the triangles still disagree */
};

/* Turns triangles so that neighbours agree, then whole patches. A closed patch faces outward, by
 * its volume; one that lies inside an odd number of other closed patches (15 places spread over it
 * all do) bounds a hollow and faces inward. A patch with holes that is closed all but (its area
 * vectors cancel to a fifth of its area) goes by its volume too; any other keeps the side that most
 * of its area shows.
 *
 * Returns a new mesh that shares what did not change, or the same one shared when nothing did.
 * Nothing is cut. NULL on failure; STATUS_REFUSED for a point cloud. Positions are joined first. */
struct mesh *orient(const struct mesh *mesh, struct orient_report *report, struct job *job);

#endif
