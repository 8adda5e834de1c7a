/* Handles and tunnels that nothing measured asked for. */
#ifndef FETTLE_SCAN_FUSE_HANDLES_H
#define FETTLE_SCAN_FUSE_HANDLES_H

#include "core/net.h"
#include "core/sheet.h"

struct handles {
    size_t cut, filled; /* that were taken away: bridges across gaps, tunnels */
};

/* Takes handles out of the closed sheet through the grid, and makes the net anew: as Wood, Hoppe,
 * Desbrun & Schroder 2004 ("Removing Excess Topology from Isosurfaces") do, by finding short loops
 * about them and changing the grid's signs on the disc that each spans; but what tells an excess
 * handle from one that is there is not its size alone. A loop through what no scan saw is cut where
 * lids would not be much more to invent than the tube that they shut, unless what was measured at
 * the tube's ends faces as its walls do; one through what was measured where it is no longer than
 * LOOP_LONG (the walls of a gap or the sides of a wall stand closer than the grid can tell apart)
 * and samples show, along less of it than they ever do where it is there, the surface that would
 * go. What was measured all round stays, however small: a ring of wire, a bore.
 *
 * Each change is kept only where the surface has a handle less afterwards and hangs together as
 * before. `net` is what sheet_find made of the grid with the field, relaxed `relaxations` times,
 * and is so afterwards. */
enum status handles_remove(struct grid *grid, const struct sheet_field *field, int relaxations,
                           struct net *net, struct handles *out, struct job *job);

#endif
