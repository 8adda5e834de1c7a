/* Short loops on the net that do not cut it in two: each goes once around a handle, or through it.
 */
#ifndef FETTLE_SCAN_FUSE_LOOPS_H
#define FETTLE_SCAN_FUSE_LOOPS_H

#include "core/net.h"

struct loop {
    size_t first, end; /* in loops->vertex: each linked to the next, the last to the first */
};

struct loops {
    uint32_t *vertex;
    struct loop *loop;
    size_t vertices, count;
};

enum loop_open { OPEN_NOT, OPEN_MEASURED, OPEN_WEAK };
enum { LOOP_SHORT = 12, LOOP_LONG = 32 };

/* Looks for loops over links, the shortest first and none that those before it are together the rim
 * of something with: of any length between vertices whose open[] is OPEN_WEAK, then of no more than
 * about LOOP_LONG links between those of OPEN_MEASURED too. Which loops cut the surface in two
 * is told by where they cross the 2 genus cycles of quads that a tree of links and a tree of quads
 * leave over (Eppstein 2003, "Dynamic Generators of Topologically Embedded Graphs"; Erickson &
 * Whittlesey 2005, "Greedy Optimal Homotopy and Homology Generators"); each of those has a random
 * number of 64 bits, and their sums say at once whether a loop crosses all of them evenly
 * (after Busaryev et al. 2012, "Annotating Simplices with a Homology Basis and Its Applications").
 * The numbers are the same every time.
 *
 * The net is closed. No loop when it has no handles. Released by loops_release; on failure nothing
 * is owned. */
enum status loops_find(const struct net *net, const uint8_t *open, struct loops *out,
                       struct job *job);
void loops_release(struct loops *loops);

#endif
