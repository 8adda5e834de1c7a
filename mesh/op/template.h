/* The drilling template's pages: what hangs, drawn on paper at its true size. */
#ifndef FETTLE_OP_TEMPLATE_H
#define FETTLE_OP_TEMPLATE_H

#include "format/paper.h"
#include "op/fixings.h"
#include "raster/outline.h"
#include "solid/hang.h"

struct template_screw { /* to be drilled for */
    double at[2];       /* on the wall */
    const struct fixing *hole;
};

struct template_sheet { /* on the wall: right and up, mm, from the middle of hang->screw */
    const char *name;   /* of the part */
    const struct hang *hang;
    const struct template_screw *screw; /* those of keyholes first, from left to right */
    size_t keyholes, bores;             /* how many of each */
    const struct outline *outline;
    double outline_at[2]; /* where the outline's own middle is */
    double centre[2];     /* of mass */
    double paper[2];      /* mm: width and height of a sheet */
};

/* By how much the part must be lifted above where it comes to rest, to hang it in. */
double template_lift(const struct template_sheet *sheet);

/* Makes the paper as large as one sheet with all of it takes, and no smaller than it is. */
void template_whole(struct template_sheet *sheet);

/* Draws all pages; *pages: how many. STATUS_REFUSED when they would be more than sixty. */
enum status template_draw(const struct template_sheet *sheet, struct paper *paper, size_t *pages,
                          struct job *job);

#endif
