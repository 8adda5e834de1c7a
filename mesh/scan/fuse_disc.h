/* The disc that a loop of the net spans: what to put outside, or inside, to be rid of a handle. */
#ifndef FETTLE_SCAN_FUSE_DISC_H
#define FETTLE_SCAN_FUSE_DISC_H

#include "core/net.h"

struct disc_node { /* its indices: blocks need not be there yet */
    uint32_t at[3];
};

struct disc {
    struct vec middle, axis; /* of the loop; unit */
    double area;             /* mm2: of the fan of triangles about the middle */
    bool fills;              /* a tunnel is filled; else what bridges a gap is cut */
    double measured;         /* share of the loop, 0 to 1, along which samples show the surface that
                                the disc would take away: that faces from the middle, or to it */
    struct grid_box box;     /* of its nodes */
    struct disc_node *node;  /* within the disc's thickness and not on its side yet, ascending */
    size_t count;
};

/* The disc of a loop of cells that are beside each other in turn. Released by disc_release; on
 * failure nothing is owned. */
enum status disc_make(const struct grid *grid, const struct net *net, const uint32_t *loop,
                      size_t length, struct disc *out, struct job *job);
void disc_release(struct disc *disc);

/* Puts the disc's nodes on its side, and with them those without which the signs around it would
 * not be well-composed (core/sheet.h), which disc->node then has as well; marks the cells around to
 * be followed by the next sheet_find. False: that would be many more than the disc's, or leave the
 * grid; what was changed is for the caller to put back. */
bool disc_apply(struct grid *grid, struct disc *disc);

#endif
