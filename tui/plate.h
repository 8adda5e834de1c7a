/* A picture of cells, of one part or of two side by side, and how the paint lane makes it. */
#ifndef FETTLE_TUI_PLATE_H
#define FETTLE_TUI_PLATE_H

#include "raster/cells.h"

struct app;

enum { PLATE_PARTS = 2, PIECES_MOST = 64 }; /* more pieces than that are not drawn */

struct plate_part {
    struct image *image;
    struct cell *cell;         /* columns * rows */
    size_t cells;              /* room in cell[] */
    int column, columns;       /* where it lies on the plate */
    struct camera camera;      /* that it was made with */
    size_t drawn[PIECES_MOST]; /* which pieces of the scene are drawn */
};

struct plate { /* finished or unfinished */
    struct plate_part part[PLATE_PARTS];
    int parts, rows;
    bool exact; /* of the meshes themselves, not of stand-ins */
    bool valid;
};

/* Has the paint lane, which must be free, make a picture of what there is to see now; when it is
 * done, the view shows it. */
void plate_paint(struct app *app, struct plate *plate, bool exact);

/* The part that a column is of; NULL: none. */
const struct plate_part *plate_part_at(const struct plate *plate, int column);

void plate_release(struct plate *plate);

#endif
